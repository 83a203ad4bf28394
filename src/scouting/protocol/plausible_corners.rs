//! Fields in the corners of what a protocol calls plausible: where its expressions are tried before any visit is
//! taken in. It plans and computes nothing.

use std::collections::BTreeSet;

use super::planned::ThresholdField;
use super::protocol_file::{Plausible, Protocol};
use crate::visit::record::{
    AreaUnit, Economics, MarketValue, PlantPopulation, TreatmentCost, WeightUnit,
};

/// The corners of what is plausible, and the stages that make a difference.
pub(super) struct Corners {
    corners: Vec<(Economics, f64)>,
    stages: Vec<String>,
}

impl Corners {
    /// Those of a protocol, for an expression that names these columns.
    pub(super) fn of(protocol: &Protocol, named: &BTreeSet<String>) -> Corners {
        Corners {
            corners: corners(&protocol.plausible, named),
            stages: match named.contains("crop_stage") {
                true => window_stages(protocol),
                false => vec![protocol.stages.first.clone()],
            },
        }
    }

    /// A field of a crop type in each corner and stage.
    pub(super) fn fields<'a>(&'a self, crop_type: &'a str) -> Vec<ThresholdField<'a>> {
        let in_stage = |crop_stage: &'a String| {
            self.corners
                .iter()
                .map(move |(economics, area_ha)| ThresholdField {
                    economics,
                    area_ha: *area_ha,
                    crop_type,
                    crop_stage,
                })
        };
        self.stages.iter().flat_map(in_stage).collect()
    }
}

/// Fields in the corners of what is plausible; what the expression does not name stays the same.
fn corners(plausible: &Plausible, named: &BTreeSet<String>) -> Vec<(Economics, f64)> {
    let ends = |column: &str, [low, high]: [f64; 2]| {
        if named.contains(column) {
            vec![low, high]
        } else {
            vec![low]
        }
    };
    let currency = &plausible.currency;
    let mut corners = Vec::new();
    for cost in ends("treatment_cost_per_ha", plausible.treatment_cost_per_acre) {
        for value in ends("market_value_per_kg", plausible.market_value_per_lb) {
            for plants in ends("plants_per_ha", plausible.plants_per_acre) {
                for area_ha in ends("area_ha", plausible.area_ha) {
                    let economics = Economics {
                        treatment_cost: Some(TreatmentCost {
                            amount: cost,
                            per: AreaUnit::Acre,
                            currency: currency.clone(),
                        }),
                        market_value: Some(MarketValue {
                            amount: value,
                            per: WeightUnit::Lb,
                            currency: currency.clone(),
                        }),
                        plant_population: Some(PlantPopulation {
                            count: plants,
                            per: AreaUnit::Acre,
                        }),
                    };
                    corners.push((economics, area_ha));
                }
            }
        }
    }
    corners
}

/// The names of the stages that are in the window.
fn window_stages(protocol: &Protocol) -> Vec<String> {
    let (first, last) = protocol.window().unwrap_or_default();
    let stages = protocol.scale.stages().into_iter();
    let within = stages.filter(|stage| first <= stage.first_place() && stage.last_place() <= last);
    within.map(|stage| stage.to_string()).collect()
}

/// Why a threshold is refused that is not above 0.
pub(super) fn not_positive(field: &ThresholdField<'_>, value: Option<f64>) -> String {
    let found = value.map_or_else(|| "nothing".to_owned(), |value| value.to_string());
    let cost = field.economics.treatment_cost.as_ref();
    let value = field.economics.market_value.as_ref();
    let plants = field.economics.plant_population.as_ref();
    let amounts = [
        cost.map(|cost| format!("cost {} {} an acre", cost.amount, cost.currency)),
        value.map(|value| format!("value {} {} a lb", value.amount, value.currency)),
        plants.map(|plants| format!("{} plants an acre", plants.count)),
    ];
    let amounts: Vec<String> = amounts.into_iter().flatten().collect();
    format!(
        "it gives {found} for {} at {} with {} and {} ha; a threshold is above 0 wherever [plausible] reaches, \
         and a case keeps it there: case when … < 0.5 then 0.5 else … end",
        field.crop_type,
        field.crop_stage,
        amounts.join(", "),
        field.area_ha
    )
}
