//! When: from daily temperatures to the days on which a field reaches its treatment stage.
//!
//! [`degree_days`] computes heat, [`weather`] reads the temperatures of stations, [`development`] is the
//! published models that a protocol names, [`spray_window`] turns heat into dates. Nothing here knows a store,
//! a roll-up or a command, and nothing asks the clock.

pub mod degree_days;
pub mod development;
pub mod spray_window;
pub mod weather;
mod weather_layout;
