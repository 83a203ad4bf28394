//! Units of area and weight: from what a scout writes to hectares and kilograms.
//!
//! Both factors are exact by definition (international yard and pound agreement, 1959; NIST Special
//! Publication 811, appendix B).

use super::record::{AreaUnit, MarketValue, PlantPopulation, TreatmentCost, WeightUnit};

/// Hectares in one international acre, exact.
pub const HECTARES_PER_ACRE: f64 = 0.404_685_642_24;
/// Kilograms in one avoirdupois pound, exact.
pub(crate) const KILOGRAMS_PER_POUND: f64 = 0.453_592_37;

impl TreatmentCost {
    /// Cost of one treatment, money per hectare.
    pub fn per_ha(&self) -> f64 {
        per_ha(self.amount, self.per)
    }

    /// Cost of one treatment, money per acre.
    pub fn per_acre(&self) -> f64 {
        per_acre(self.amount, self.per)
    }
}

impl MarketValue {
    /// Market value, money per kilogram.
    pub fn per_kg(&self) -> f64 {
        match self.per {
            WeightUnit::Kg => self.amount,
            WeightUnit::Lb => self.amount / KILOGRAMS_PER_POUND,
        }
    }

    /// Market value, money per pound.
    pub fn per_lb(&self) -> f64 {
        match self.per {
            WeightUnit::Lb => self.amount,
            WeightUnit::Kg => self.amount * KILOGRAMS_PER_POUND,
        }
    }
}

impl PlantPopulation {
    /// Plants per hectare.
    pub fn per_ha(&self) -> f64 {
        per_ha(self.count, self.per)
    }

    /// Plants per acre.
    pub fn per_acre(&self) -> f64 {
        per_acre(self.count, self.per)
    }
}

fn per_ha(amount: f64, per: AreaUnit) -> f64 {
    match per {
        AreaUnit::Ha => amount,
        AreaUnit::Acre => amount / HECTARES_PER_ACRE,
    }
}

fn per_acre(amount: f64, per: AreaUnit) -> f64 {
    match per {
        AreaUnit::Acre => amount,
        AreaUnit::Ha => amount * HECTARES_PER_ACRE,
    }
}

impl AreaUnit {
    /// As it is written in the record.
    pub fn name(self) -> &'static str {
        match self {
            AreaUnit::Acre => "acre",
            AreaUnit::Ha => "ha",
        }
    }
}

impl WeightUnit {
    /// As it is written in the record.
    pub fn name(self) -> &'static str {
        match self {
            WeightUnit::Lb => "lb",
            WeightUnit::Kg => "kg",
        }
    }
}
