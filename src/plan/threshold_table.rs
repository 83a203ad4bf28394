//! A protocol's threshold by treatment cost and market price, as a table: each cell is what the protocol's own
//! expression gives for a field of that cost and price, as each visit's threshold is.
//!
//! Costs and prices are round amounts around those of one field, in the office's units.

use serde::Serialize;

use crate::shared::report::grouped;
use crate::shared::shown_numbers::{Units, money};
use scouting::failure::Failure;
use scouting::protocol::catalogue::Protocol;
use scouting::protocol::planned::ThresholdField;
use scouting::protocol::threshold::threshold_of;
use scouting::visit::economics::EconomicMember;
use scouting::visit::record::{
    AreaUnit, Economics, MarketValue, PlantPopulation, TreatmentCost, WeightUnit,
};

/// Costs, one a row.
const COSTS: usize = 6;
/// Prices, one a column.
const PRICES: usize = 5;
/// Steps of a table are a quarter of the field's amount, rounded to one of these times a power of ten.
const ROUND: [f64; 5] = [1.0, 2.0, 2.5, 4.0, 5.0];
/// Pounds in a hundredweight.
const POUNDS_PER_CWT: f64 = 100.0;

/// Thresholds by cost and price.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct ThresholdTable {
    #[serde(skip)]
    units: Units,
    /// Currency of costs and prices.
    pub(crate) currency: String,
    /// Unit of area of costs and plants.
    pub(crate) per_area: &'static str,
    /// Unit of weight of prices.
    pub(crate) per_weight: &'static str,
    /// Type of crop.
    pub(crate) crop_type: String,
    /// Crop stage.
    pub(crate) crop_stage: String,
    /// Plants for each unit of area; `None` where the threshold does not depend on them.
    pub(crate) plants: Option<f64>,
    /// Treatment costs, one a row.
    pub(crate) costs: Vec<f64>,
    /// Market prices, one a column.
    pub(crate) prices: Vec<f64>,
    /// What is counted.
    pub(crate) counted: String,
    /// A row a cost, in it a threshold a price.
    pub(crate) thresholds: Vec<Vec<f64>>,
}

/// A row of the table as CSV.
#[derive(Serialize)]
pub(crate) struct Cell<'a> {
    treatment_cost: f64,
    market_price: f64,
    currency: &'a str,
    per_area: &'a str,
    per_weight: &'a str,
    plants: Option<f64>,
    crop_type: &'a str,
    crop_stage: &'a str,
    threshold: f64,
    counted: &'a str,
}

/// The table in words, for pages.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct ShownTable {
    /// Class of its part of a page, by its units: `us` or `metric`.
    pub class: &'static str,
    /// Of what field: `oilseed, 20,000 plants per acre`.
    pub field: String,
    /// Heading of the costs: `Treatment cost per acre`.
    pub costs: String,
    /// Heading of the prices: `Market price per cwt`.
    pub prices: String,
    /// The prices.
    pub columns: Vec<String>,
    /// A cost and its thresholds.
    pub rows: Vec<(String, Vec<String>)>,
}

/// The first type of crop whose threshold depends on both cost and price; `None` if none does, as of a fixed threshold.
pub(crate) fn crop_type_of_costs(protocol: &Protocol) -> Option<&str> {
    let mut types = protocol.crop_types.iter();
    types
        .find(|crop_type| ThresholdTable::depends_on_costs(protocol, crop_type))
        .map(String::as_str)
}

/// The economics of the protocol's first worked example that gives all of them.
pub(crate) fn worked_economics(protocol: &Protocol) -> Option<Economics> {
    let mut worked = protocol.checks.iter().map(|check| check.given.economics());
    worked.find(|economics| economics.lacking(&EconomicMember::ALL).is_empty())
}

impl ThresholdTable {
    /// Whether the threshold of a type of crop depends on both cost and price.
    pub(crate) fn depends_on_costs(protocol: &Protocol, crop_type: &str) -> bool {
        let limits = protocol.limits();
        let needed = limits.economics_needed(crop_type);
        let both = [EconomicMember::TreatmentCost, EconomicMember::MarketValue];
        both.iter().all(|member| needed.contains(member))
    }

    /// The table around the protocol's worked example; `None` of a protocol whose threshold depends on no cost and price,
    /// or that has no such example.
    ///
    /// # Errors
    /// A [`Failure`] if a threshold cannot be computed.
    pub(crate) fn of(protocol: &Protocol, units: Units) -> Result<Option<ThresholdTable>, Failure> {
        let crop_type = crop_type_of_costs(protocol);
        let (Some(crop_type), Some(economics)) = (crop_type, worked_economics(protocol)) else {
            return Ok(None);
        };
        let field = (crop_type, &*protocol.stages.first);
        ThresholdTable::around(protocol, field, &economics, units)
    }

    /// The table around a field's economics, for a type of crop at a stage; `None` if the economics lack a cost or a price,
    /// or the plants that the threshold depends on.
    ///
    /// # Errors
    /// A [`Failure`] if a threshold cannot be computed.
    pub(crate) fn around(
        protocol: &Protocol,
        (crop_type, crop_stage): (&str, &str),
        economics: &Economics,
        units: Units,
    ) -> Result<Option<ThresholdTable>, Failure> {
        let limits = protocol.limits();
        let needed = limits.economics_needed(crop_type);
        let (Some(cost), Some(price)) = (&economics.treatment_cost, &economics.market_value) else {
            return Ok(None);
        };
        let plants = match needed.contains(&EconomicMember::PlantPopulation) {
            false => None,
            true => match &economics.plant_population {
                None => return Ok(None),
                Some(plants) => Some(two_digits(units.plants_amount(plants))),
            },
        };
        let costs = round_steps(units.cost_amount(cost), COSTS);
        let prices = round_steps(units.price_amount(price), PRICES);
        let mut thresholds = Vec::new();
        for amount in &costs {
            let mut row = Vec::new();
            for of_crop in &prices {
                let economics = Economics {
                    treatment_cost: Some(TreatmentCost {
                        amount: *amount,
                        per: area_unit(units),
                        currency: cost.currency.clone(),
                    }),
                    market_value: Some(market_value(*of_crop, &price.currency, units)),
                    plant_population: plants.map(|count| PlantPopulation {
                        count,
                        per: area_unit(units),
                    }),
                };
                let field = ThresholdField {
                    economics: &economics,
                    area_ha: protocol.plausible.area_ha[0],
                    crop_type,
                    crop_stage,
                };
                row.push(threshold_of(protocol, &field)?);
            }
            thresholds.push(row);
        }
        Ok(Some(ThresholdTable {
            units,
            currency: cost.currency.clone(),
            per_area: units.of_area(),
            per_weight: units.of_price(),
            crop_type: crop_type.to_owned(),
            crop_stage: crop_stage.to_owned(),
            plants,
            costs,
            prices,
            counted: protocol.counted.clone(),
            thresholds,
        }))
    }

    /// Its cells, row by row.
    pub(crate) fn cells(&self) -> impl Iterator<Item = Cell<'_>> {
        let rows = self.costs.iter().zip(&self.thresholds);
        rows.flat_map(move |(cost, row)| {
            self.prices
                .iter()
                .zip(row)
                .map(move |(price, threshold)| Cell {
                    treatment_cost: *cost,
                    market_price: *price,
                    currency: &self.currency,
                    per_area: self.per_area,
                    per_weight: self.per_weight,
                    plants: self.plants,
                    crop_type: &self.crop_type,
                    crop_stage: &self.crop_stage,
                    threshold: *threshold,
                    counted: &self.counted,
                })
        })
    }

    /// The table in words.
    pub(crate) fn shown(&self) -> ShownTable {
        let plants = self.plants.map_or_else(String::new, |plants| {
            let count = grouped(plants.round() as u64);
            format!(", {count} plants per {}", self.per_area)
        });
        let amount = |amount: &f64| money(*amount, &self.currency);
        let rows = self.costs.iter().zip(&self.thresholds);
        ShownTable {
            class: match self.units {
                Units::Us => "us",
                Units::Metric => "metric",
            },
            field: format!("{}{plants}", self.crop_type),
            costs: format!("Treatment cost per {}", self.per_area),
            prices: format!("Market price per {}", self.per_weight),
            columns: self.prices.iter().map(amount).collect(),
            rows: rows
                .map(|(cost, row)| (amount(cost), row.iter().map(|one| shown(*one)).collect()))
                .collect(),
        }
    }
}

/// A threshold in two or three digits: `3.2`, `12`, `0.018`.
fn shown(threshold: f64) -> String {
    match threshold {
        high if high >= 10.0 => format!("{high:.0}"),
        usual if usual >= 1.0 => format!("{usual:.1}"),
        low if low >= 0.1 => format!("{low:.2}"),
        least => format!("{least:.3}"),
    }
}

fn area_unit(units: Units) -> AreaUnit {
    match units {
        Units::Us => AreaUnit::Acre,
        Units::Metric => AreaUnit::Ha,
    }
}

fn market_value(amount: f64, currency: &str, units: Units) -> MarketValue {
    let (amount, per) = match units {
        Units::Us => (amount / POUNDS_PER_CWT, WeightUnit::Lb),
        Units::Metric => (amount, WeightUnit::Kg),
    };
    MarketValue {
        amount,
        per,
        currency: currency.to_owned(),
    }
}

/// So many amounts in even round steps, the second of them about `amount`.
fn round_steps(amount: f64, count: usize) -> Vec<f64> {
    let step = round_step(amount / 4.0);
    let first = (0.75 * amount / step).round().max(1.0);
    // A step has two digits at most, so its multiples have few: what a sum of doubles adds is cut off.
    let digits = (2.0 - step.log10().floor()).clamp(0.0, 12.0) as usize;
    let amounts = (0..count).map(|place| format!("{:.digits$}", (first + place as f64) * step));
    amounts
        .map(|text| text.parse().expect("digits and a point are a number"))
        .collect()
}

/// The nearest of the round steps, by its ratio.
fn round_step(step: f64) -> f64 {
    let power = 10_f64.powf(step.log10().floor());
    let steps = ROUND.iter().copied().chain([10.0]).map(|one| one * power);
    let far = |one: &f64| (one / step).ln().abs();
    steps
        .min_by(|one, other| far(one).total_cmp(&far(other)))
        .unwrap_or(power)
}

/// A number rounded to two digits: 49,421 is about 49,000.
fn two_digits(number: f64) -> f64 {
    let power = 10_f64.powf(number.log10().floor() - 1.0);
    (number / power).round() * power
}

#[cfg(test)]
mod tests {
    use super::*;
    use scouting::protocol::catalogue::Catalogue;

    fn table(id: &str, units: Units) -> Option<ThresholdTable> {
        let catalogue =
            Catalogue::read(None, store::stages::expression::plan).expect("the catalog");
        let protocol = catalogue.protocol(id).expect("a protocol");
        ThresholdTable::of(protocol, units).expect("thresholds")
    }

    #[test]
    fn amounts_are_round_and_the_field_is_among_them() {
        assert_eq!(round_steps(8.0, 6), [6.0, 8.0, 10.0, 12.0, 14.0, 16.0]);
        assert_eq!(round_steps(16.0, 5), [12.0, 16.0, 20.0, 24.0, 28.0]);
        assert_eq!(round_steps(19.768_43, 4), [15.0, 20.0, 25.0, 30.0]);
        assert_eq!(round_steps(0.352_74, 3), [0.3, 0.4, 0.5]);
        assert_eq!(round_steps(0.4, 3), [0.3, 0.4, 0.5]);
        assert_eq!(two_digits(49_421.0), 49_000.0);
        assert_eq!(two_digits(20_000.0), 20_000.0);
    }

    /// C / (V P 0.00078), typed from the protocol's source, in acres and pounds.
    #[test]
    fn each_cell_is_the_formula_of_the_protocol() {
        for (units, hectares, kilograms) in [
            (Units::Us, 1.0, 1.0),
            (Units::Metric, 0.404_685_642_24, 0.453_592_37),
        ] {
            let table = table("bsm-eggs", units).expect("a threshold of costs and prices");
            let plants = table.plants.expect("it depends on the plants") * hectares;
            let per_pound = match units {
                Units::Us => 0.01,
                Units::Metric => kilograms,
            };
            assert_eq!((table.costs.len(), table.prices.len()), (6, 5));
            for (cost, row) in table.costs.iter().zip(&table.thresholds) {
                for (price, found) in table.prices.iter().zip(row) {
                    let expected = cost * hectares / (price * per_pound * plants * 0.000_78);
                    assert!(
                        (found / expected - 1.0).abs() < 1e-9,
                        "{units:?}: {cost}, {price}: {found}, {expected}"
                    );
                }
            }
        }
    }

    /// Crop & Pest Report, North Dakota State University, July 15, 2021: 2.6 eggs at 8 USD per acre, 3.2 at 10 USD, with
    /// 20,000 plants; the price of 0.20 USD per lb is our reading.
    #[test]
    fn a_published_value_is_in_the_table() {
        let shown = table("bsm-eggs", Units::Us).expect("a table").shown();
        assert_eq!(shown.field, "oilseed, 20,000 plants per acre");
        assert_eq!(shown.columns[2], "$20.00");
        let of = |cost: &str| {
            let mut rows = shown.rows.iter();
            rows.find(|row| row.0 == cost).expect("the cost").1[2].clone()
        };
        assert_eq!(
            (of("$8.00"), of("$10.00")),
            ("2.6".to_owned(), "3.2".to_owned())
        );
    }

    #[test]
    fn a_fixed_threshold_has_no_table() {
        for id in ["stem-weevil", "sunflower-beetle", "bertha-armyworm-traps"] {
            assert_eq!(table(id, Units::Us), None, "{id}");
        }
        assert!(table("rssw", Units::Us).is_some() && table("bsm-adults", Units::Us).is_some());
    }
}
