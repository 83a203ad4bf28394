//! The economics that a threshold is based on: what a record gives, filled up from a workspace's defaults.
//!
//! Only what the protocol's threshold needs is filled in, and what is filled in leaves a trace: the record as
//! submitted keeps its gap, and the members that were assumed are named.

use super::record::Economics;

/// A member of the economics.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum EconomicMember {
    /// Cost of one treatment, product and application.
    TreatmentCost,
    /// What the crop sells for.
    MarketValue,
    /// Plants standing.
    PlantPopulation,
}

impl EconomicMember {
    /// Every member, in the order of the record.
    pub const ALL: [EconomicMember; 3] = [
        EconomicMember::TreatmentCost,
        EconomicMember::MarketValue,
        EconomicMember::PlantPopulation,
    ];

    /// The member's name in the record.
    pub fn name(self) -> &'static str {
        match self {
            EconomicMember::TreatmentCost => "treatment_cost",
            EconomicMember::MarketValue => "market_value",
            EconomicMember::PlantPopulation => "plant_population",
        }
    }
}

impl Economics {
    /// Whether nothing is given.
    pub fn is_empty(&self) -> bool {
        self.lacking(&EconomicMember::ALL).len() == EconomicMember::ALL.len()
    }

    /// Those of these members that are not given.
    pub fn lacking(&self, needed: &[EconomicMember]) -> Vec<EconomicMember> {
        let given = |member: &EconomicMember| match member {
            EconomicMember::TreatmentCost => self.treatment_cost.is_some(),
            EconomicMember::MarketValue => self.market_value.is_some(),
            EconomicMember::PlantPopulation => self.plant_population.is_some(),
        };
        let needed = needed.iter().copied();
        needed.filter(|member| !given(member)).collect()
    }

    /// What is given, and of these members the default for what is not, if there is one.
    pub fn filled(&self, lacking: &[EconomicMember], defaults: &Economics) -> Economics {
        let mut filled = self.clone();
        for member in lacking {
            match member {
                EconomicMember::TreatmentCost => {
                    filled.treatment_cost.clone_from(&defaults.treatment_cost);
                }
                EconomicMember::MarketValue => {
                    filled.market_value.clone_from(&defaults.market_value);
                }
                EconomicMember::PlantPopulation => {
                    filled
                        .plant_population
                        .clone_from(&defaults.plant_population);
                }
            }
        }
        filled
    }

    /// The currency of the amounts, where one is given.
    pub fn currency(&self) -> Option<&str> {
        let cost = self.treatment_cost.as_ref();
        let value = self.market_value.as_ref();
        cost.map(|cost| &*cost.currency)
            .or(value.map(|value| &*value.currency))
    }
}
