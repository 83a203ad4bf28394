//! The economics that a threshold rests on: what a record gives, filled up from a workspace's defaults.
//!
//! What is filled in leaves a trace: the record as submitted keeps its gap, and the members that were
//! assumed are named.

use serde::Deserialize;

use super::record::{Economics, MarketValue, PlantPopulation, TreatmentCost};

/// Economics that lack nothing.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct CompleteEconomics {
    /// Cost of one treatment, product and application.
    pub treatment_cost: TreatmentCost,
    /// What the crop sells for.
    pub market_value: MarketValue,
    /// Plants standing.
    pub plant_population: PlantPopulation,
}

impl Economics {
    /// Whether nothing is given.
    pub fn is_empty(&self) -> bool {
        self.missing().len() == 3
    }

    /// Names of the members that are not given, in the order of the record.
    pub fn missing(&self) -> Vec<&'static str> {
        let members = [
            ("treatment_cost", self.treatment_cost.is_some()),
            ("market_value", self.market_value.is_some()),
            ("plant_population", self.plant_population.is_some()),
        ];
        let missing = members.into_iter().filter(|(_, given)| !given);
        missing.map(|(name, _)| name).collect()
    }

    /// What is given, and for what is not the default, if there is one.
    pub fn or(&self, defaults: &Economics) -> Economics {
        let (given, default) = (self.clone(), defaults.clone());
        Economics {
            treatment_cost: given.treatment_cost.or(default.treatment_cost),
            market_value: given.market_value.or(default.market_value),
            plant_population: given.plant_population.or(default.plant_population),
        }
    }

    /// The economics, if nothing is missing.
    pub fn complete(self) -> Option<CompleteEconomics> {
        Some(CompleteEconomics {
            treatment_cost: self.treatment_cost?,
            market_value: self.market_value?,
            plant_population: self.plant_population?,
        })
    }

    /// The currency of the amounts, where one is given.
    pub fn currency(&self) -> Option<&str> {
        let cost = self.treatment_cost.as_ref();
        let value = self.market_value.as_ref();
        cost.map(|cost| &*cost.currency)
            .or(value.map(|value| &*value.currency))
    }
}
