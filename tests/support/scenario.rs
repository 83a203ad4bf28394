//! A unit that scenarios are stated in.

/// Square meters and kilograms of the international acre and pound, exact.
pub const HECTARES_PER_ACRE: f64 = 0.404_685_642_24;
