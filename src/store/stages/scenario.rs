//! Other economics than those of the records: what a person asks with `--with`, read and said again.
//!
//! A scenario changes amounts and nothing else. It is never stored, and no alert is made of it: the roll-up
//! under it (`scenario_run.rs`) is of a type of its own, which the alert does not take.

use std::fmt;
use std::str::FromStr;

use arrow::array::{ArrayRef, AsArray, Float64Array};
use arrow::datatypes::Float64Type;

use scouting::visit::economics::EconomicMember;
use scouting::visit::record::{AreaUnit, MarketValue, PlantPopulation, TreatmentCost, WeightUnit};

/// How a change is written, for messages.
const SYNTAX: &str = "write a factor, as price=*0.8, or an amount: cost=9.50USD/acre (or /ha), price=0.14USD/lb (or /kg), \
     population=22000/acre (or /ha); several with commas, in quotes, since a shell reads * its own way";

/// Other economics: each member at most once, in the order of the record.
#[derive(Debug, Clone, PartialEq)]
pub struct Scenario {
    changes: Vec<(EconomicMember, Change)>,
}

/// What becomes of one member of the economics.
#[derive(Debug, Clone, PartialEq)]
pub enum Change {
    /// Each record's own amount, times this.
    Factor(f64),
    /// The same amount in every record that has one.
    Amount {
        /// Per hectare, or per kilogram.
        canonical: f64,
        /// ISO 4217 code; `None` of plants.
        currency: Option<String>,
        /// The amount as it was asked for: `9.5USD/acre`.
        said: String,
    },
}

impl Scenario {
    /// The changes, in the order of the record.
    pub fn changes(&self) -> &[(EconomicMember, Change)] {
        &self.changes
    }

    /// What becomes of a member, if anything does.
    pub fn change(&self, member: EconomicMember) -> Option<&Change> {
        let mut changes = self.changes.iter();
        changes
            .find(|(changed, _)| *changed == member)
            .map(|(_, change)| change)
    }

    /// The currency of its amounts of money, if it has some.
    pub fn currency(&self) -> Option<&str> {
        let amounts = self.changes.iter().filter_map(|(_, change)| match change {
            Change::Amount { currency, .. } => currency.as_deref(),
            Change::Factor(_) => None,
        });
        amounts.min()
    }

    /// Whether cost and price are both amounts: then the currency of the records does not matter.
    pub(crate) fn sets_all_money(&self) -> bool {
        let set = |member| matches!(self.change(member), Some(Change::Amount { .. }));
        set(EconomicMember::TreatmentCost) && set(EconomicMember::MarketValue)
    }

    /// In sentences, one a change.
    pub fn in_words(&self) -> Vec<String> {
        let said = self.changes.iter().map(|(member, change)| {
            let (name, of_each) = match member {
                EconomicMember::TreatmentCost => ("cost of a treatment", "each record's own cost"),
                EconomicMember::MarketValue => ("market price", "each record's own value"),
                EconomicMember::PlantPopulation => ("plant population", "each record's own count"),
            };
            match change {
                Change::Factor(factor) => format!("{name}: {factor} times {of_each}"),
                Change::Amount { said, .. } => format!("{name}: {said} in every field"),
            }
        });
        said.collect()
    }
}

impl Change {
    /// Canonical amounts under this change; an amount that is not known stays unknown.
    pub(crate) fn applied(&self, amounts: &ArrayRef) -> ArrayRef {
        let amounts = amounts.as_primitive::<Float64Type>().iter();
        let changed = amounts.map(|amount| match self {
            Change::Factor(factor) => Some(amount? * factor),
            Change::Amount { canonical, .. } => amount.map(|_| *canonical),
        });
        std::sync::Arc::new(changed.collect::<Float64Array>())
    }
}

/// The name of a member on the command line.
pub(crate) fn name_of(member: EconomicMember) -> &'static str {
    match member {
        EconomicMember::TreatmentCost => "cost",
        EconomicMember::MarketValue => "price",
        EconomicMember::PlantPopulation => "population",
    }
}

/// The column of `current_visit` that holds a member in canonical units.
pub(crate) fn column_of(member: EconomicMember) -> &'static str {
    match member {
        EconomicMember::TreatmentCost => "treatment_cost_per_ha",
        EconomicMember::MarketValue => "market_value_per_kg",
        EconomicMember::PlantPopulation => "plants_per_ha",
    }
}

/// As it can be typed again.
impl fmt::Display for Scenario {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        for (place, (member, change)) in self.changes.iter().enumerate() {
            let comma = if place > 0 { "," } else { "" };
            let name = name_of(*member);
            match change {
                Change::Factor(factor) => write!(f, "{comma}{name}=*{factor}")?,
                Change::Amount { said, .. } => write!(f, "{comma}{name}={said}")?,
            }
        }
        Ok(())
    }
}

impl FromStr for Scenario {
    type Err = String;

    fn from_str(text: &str) -> Result<Scenario, String> {
        let mut changes: Vec<(EconomicMember, Change)> = Vec::new();
        for part in text.split(',') {
            let (name, value) = part
                .split_once('=')
                .ok_or_else(|| format!("{part:?} changes nothing; {SYNTAX}"))?;
            let mut members = EconomicMember::ALL.into_iter();
            let member = members
                .find(|member| name_of(*member) == name.trim())
                .ok_or_else(|| {
                    format!("there is no {name:?}, only cost, price and population; {SYNTAX}")
                })?;
            if changes.iter().any(|(other, _)| *other == member) {
                return Err(format!("{} is changed twice; {SYNTAX}", name_of(member)));
            }
            let change = change(member, value.trim())
                .ok_or_else(|| format!("{part:?} cannot be read; {SYNTAX}"))?;
            changes.push((member, change));
        }
        changes.sort_by_key(|(member, _)| *member);
        let scenario = Scenario { changes };
        let mut money = scenario
            .changes
            .iter()
            .filter_map(|(_, change)| match change {
                Change::Amount { currency, .. } => currency.clone(),
                Change::Factor(_) => None,
            });
        match (money.next(), money.next()) {
            (Some(one), Some(other)) if one != other => Err(format!(
                "cost is in {one} and price in {other}; write both in one currency"
            )),
            _ => Ok(scenario),
        }
    }
}

/// `*0.8` or `9.50USD/acre`.
fn change(member: EconomicMember, text: &str) -> Option<Change> {
    if let Some(factor) = text.strip_prefix('*') {
        return Some(Change::Factor(positive(factor)?));
    }
    let (amount, per) = text.split_once('/')?;
    let letters = amount.find(|letter: char| letter.is_ascii_alphabetic());
    let (number, currency) = amount.split_at(letters.unwrap_or(amount.len()));
    let currency = currency.trim();
    let is_code = currency.len() == 3 && currency.bytes().all(|byte| byte.is_ascii_uppercase());
    let takes_money = member != EconomicMember::PlantPopulation;
    if takes_money != is_code || !takes_money && !currency.is_empty() {
        return None;
    }
    let (number, per) = (positive(number)?, per.trim());
    let area = || match per {
        "acre" => Some(AreaUnit::Acre),
        "ha" => Some(AreaUnit::Ha),
        _ => None,
    };
    let weight = || match per {
        "lb" => Some(WeightUnit::Lb),
        "kg" => Some(WeightUnit::Kg),
        _ => None,
    };
    let (amount, code) = (number, currency.to_owned());
    let canonical = match member {
        EconomicMember::TreatmentCost => {
            let (per, currency) = (area()?, code);
            TreatmentCost {
                amount,
                per,
                currency,
            }
            .per_ha()
        }
        EconomicMember::MarketValue => {
            let (per, currency) = (weight()?, code);
            MarketValue {
                amount,
                per,
                currency,
            }
            .per_kg()
        }
        EconomicMember::PlantPopulation => {
            let (count, per) = (amount, area()?);
            PlantPopulation { count, per }.per_ha()
        }
    };
    Some(Change::Amount {
        canonical,
        said: format!("{number}{currency}/{per}"),
        currency: takes_money.then(|| currency.to_owned()),
    })
}

/// A number above 0 in plain digits.
fn positive(text: &str) -> Option<f64> {
    let text = text.trim();
    let plain = text
        .bytes()
        .all(|byte| byte.is_ascii_digit() || byte == b'.');
    let number: f64 = text.parse().ok().filter(|_| plain)?;
    (number.is_finite() && number > 0.0).then_some(number)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn read(text: &str) -> Result<Scenario, String> {
        text.parse()
    }

    #[test]
    fn what_is_asked_is_said_again_in_the_order_of_the_record() {
        let scenario = read("price=*0.80, cost = 9.50 USD/acre ,population=22000/acre");
        let scenario = scenario.expect("three changes");
        assert_eq!(
            scenario.to_string(),
            "cost=9.5USD/acre,price=*0.8,population=22000/acre"
        );
        assert_eq!(read(&scenario.to_string()), Ok(scenario.clone()));
        assert_eq!(scenario.currency(), Some("USD"));
        assert!(!scenario.sets_all_money());
        assert_eq!(
            scenario.in_words(),
            [
                "cost of a treatment: 9.5USD/acre in every field",
                "market price: 0.8 times each record's own value",
                "plant population: 22000/acre in every field"
            ]
        );
    }

    #[test]
    fn amounts_are_carried_to_hectares_and_kilograms() {
        // 1 acre = 0.40468564224 ha, 1 lb = 0.45359237 kg: exact.
        let canonical = |text: &str| match &read(text).expect("an amount").changes[0].1 {
            Change::Amount { canonical, .. } => *canonical,
            Change::Factor(_) => f64::NAN,
        };
        assert!((canonical("cost=8USD/acre") - 8.0 / 0.404_685_642_24).abs() < 1e-12);
        assert!((canonical("price=0.16USD/lb") - 0.16 / 0.453_592_37).abs() < 1e-12);
        assert!((canonical("population=20000/acre") - 20_000.0 / 0.404_685_642_24).abs() < 1e-9);
        assert_eq!(canonical("cost=20USD/ha"), 20.0);
        assert_eq!(canonical("price=0.4USD/kg"), 0.4);
    }

    #[test]
    fn what_is_not_clear_is_refused_with_the_way_to_write_it() {
        for text in [
            "",
            "price",
            "value=*0.8",
            "price=0.8",
            "price=0.14/lb",
            "price=0.14usd/lb",
            "price=0.14USD/acre",
            "cost=9.5USD/lb",
            "population=20000USD/acre",
            "population=20000",
            "price=*0",
            "price=*-1",
            "price=*1e3",
            "price=*inf",
            "price=*0.8,price=*0.9",
            "price=*0.8,",
        ] {
            let reason = read(text).expect_err(text);
            assert!(reason.contains("price=*0.8"), "{text}: {reason}");
        }
        let reason = read("cost=9USD/acre,price=0.2CAD/lb").expect_err("two currencies");
        assert!(reason.contains("one currency"), "{reason}");
    }

    #[test]
    fn an_amount_that_is_not_known_stays_unknown() {
        let amounts: ArrayRef = std::sync::Arc::new(Float64Array::from(vec![Some(10.0), None]));
        for (text, expected) in [("cost=*1.5", 15.0), ("cost=20USD/ha", 20.0)] {
            let scenario = read(text).expect("a change");
            let changed = scenario.changes[0].1.applied(&amounts);
            let changed: Vec<_> = changed.as_primitive::<Float64Type>().iter().collect();
            assert_eq!(changed, [Some(expected), None]);
        }
    }
}
