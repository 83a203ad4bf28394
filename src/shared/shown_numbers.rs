//! How figures are shown: the one place that rounds a number for readers, counts with their nouns, and amounts in the
//! office's units, US customary or metric. What is stored, and every column of a table, keeps hectares, kilograms,
//! meters and °C; only words for people are in the office's units.

use serde::Deserialize;

use super::report::grouped;
use scouting::phenology::degree_days::FAHRENHEIT_DEGREE_DAYS;
use scouting::visit::record::{MarketValue, PlantPopulation, TreatmentCost};
use scouting::visit::units::HECTARES_PER_ACRE;

/// The ends of an interval at 0 or 1 come out a rounding error away from them.
const NOISE: f64 = 1e-12;

/// How a number is shown.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Form {
    /// Two decimals, none from 100 on.
    Pressure,
    /// A share as a whole per cent, without the sign.
    Percent,
}

/// The one rounding for display. A value never crosses a mark that matters by being rounded: one
/// below threshold shows as `<1.00`, one above 0 never as 0, one below all never as 100.
pub(crate) fn display_number(value: f64, form: Form) -> String {
    match form {
        Form::Percent if (NOISE..0.005).contains(&value) => "<1".to_owned(),
        Form::Percent if (0.995..1.0 - NOISE).contains(&value) => ">99".to_owned(),
        Form::Percent => format!("{:.0}", (value * 100.0).clamp(0.0, 100.0)),
        Form::Pressure if value > 0.0 && value < 0.005 => "<0.01".to_owned(),
        Form::Pressure if (0.995..1.0).contains(&value) => "<1.00".to_owned(),
        Form::Pressure if value >= 100.0 => format!("{value:.0}"),
        Form::Pressure => format!("{value:.2}"),
    }
}

/// A count with its noun: `1 county`, `2 counties`, `0 counties`.
pub(crate) fn count_of(count: usize, one: &str, several: &str) -> String {
    let noun = if count == 1 { one } else { several };
    format!("{count} {noun}")
}

/// `a`, `a and b`, `a, b and c`.
pub(crate) fn join_with_and(parts: &[String]) -> Option<String> {
    match parts {
        [] => None,
        [one] => Some(one.clone()),
        [first @ .., last] => Some(format!("{} and {last}", first.join(", "))),
    }
}

/// Meters in one international foot, exact (NIST Special Publication 811, appendix B).
const METERS_PER_FOOT: f64 = 0.3048;
/// Pounds in one US hundredweight (cwt), the unit in which sunflower is priced.
const POUNDS_PER_CWT: f64 = 100.0;

/// A system of units.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Units {
    /// Acres, feet, hundredweights of 100 pounds and °F. The default: built-in counties and prices are those of the US.
    #[default]
    Us,
    /// Hectares, meters, kilograms and °C.
    Metric,
}

impl Units {
    /// Whether they are the US customary ones.
    pub fn is_us(self) -> bool {
        self == Units::Us
    }

    /// An area, from hectares: `154.2 acres`.
    pub(crate) fn area(self, hectares: f64) -> String {
        match self {
            Units::Us => format!("{:.2} acres", hectares / HECTARES_PER_ACRE),
            Units::Metric => format!("{hectares:.2} ha"),
        }
    }

    /// A whole area, from hectares: `158 acres`.
    pub(crate) fn whole_area(self, hectares: f64) -> String {
        match self {
            Units::Us => format!("{:.0} acres", hectares / HECTARES_PER_ACRE),
            Units::Metric => format!("{hectares:.0} ha"),
        }
    }

    /// A distance in a field, from meters: `127 ft`.
    pub(crate) fn distance(self, meters: f64) -> String {
        match self {
            Units::Us => format!("{:.0} ft", meters / METERS_PER_FOOT),
            Units::Metric => format!("{meters:.0} m"),
        }
    }

    /// A sum of heat, from Celsius degree-days: `1,102 degree-days (°F)`.
    pub(crate) fn degree_days(self, celsius: f64) -> String {
        let (sum, degree) = match self {
            Units::Us => (celsius * FAHRENHEIT_DEGREE_DAYS, "\u{b0}F"),
            Units::Metric => (celsius, "\u{b0}C"),
        };
        format!(
            "{} degree-days ({degree})",
            grouped(sum.round().max(0.0) as u64)
        )
    }

    /// The word for one unit of area: `acre`.
    pub(crate) fn of_area(self) -> &'static str {
        match self {
            Units::Us => "acre",
            Units::Metric => "ha",
        }
    }

    /// The unit of weight in which a crop is priced: `cwt`.
    pub(crate) fn of_price(self) -> &'static str {
        match self {
            Units::Us => "cwt",
            Units::Metric => "kg",
        }
    }

    /// A cost of treatment in these units, as a number.
    pub(crate) fn cost_amount(self, cost: &TreatmentCost) -> f64 {
        match self {
            Units::Us => cost.per_acre(),
            Units::Metric => cost.per_ha(),
        }
    }

    /// A market price in these units, as a number.
    pub(crate) fn price_amount(self, price: &MarketValue) -> f64 {
        match self {
            Units::Us => price.per_lb() * POUNDS_PER_CWT,
            Units::Metric => price.per_kg(),
        }
    }

    /// A plant population in these units, as a number.
    pub(crate) fn plants_amount(self, plants: &PlantPopulation) -> f64 {
        match self {
            Units::Us => plants.per_acre(),
            Units::Metric => plants.per_ha(),
        }
    }

    /// A cost of treatment: `$8.00 per acre`.
    pub(crate) fn cost(self, cost: &TreatmentCost) -> String {
        let amount = money(self.cost_amount(cost), &cost.currency);
        format!("{amount} per {}", self.of_area())
    }

    /// A market price: `$16.00 per cwt`.
    pub(crate) fn price(self, price: &MarketValue) -> String {
        let amount = money(self.price_amount(price), &price.currency);
        format!("{amount} per {}", self.of_price())
    }

    /// A plant population: `20,000 plants per acre`.
    pub(crate) fn plants(self, plants: &PlantPopulation) -> String {
        let count = self.plants_amount(plants).round_ties_even();
        format!("{} plants per {}", grouped(count as u64), self.of_area())
    }
}

/// An amount of money: `$8.00`; of another currency than the US dollar `8.00 EUR`, with a space that does not break.
pub(crate) fn money(amount: f64, currency: &str) -> String {
    match currency {
        "USD" => format!("${amount:.2}"),
        other => format!("{amount:.2}\u{a0}{other}"),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use scouting::visit::record::Economics;

    #[test]
    fn rounding_never_carries_a_number_over_a_mark_that_matters() {
        let pressure = |value| display_number(value, Form::Pressure);
        assert_eq!(pressure(0.0), "0.00");
        assert_eq!(pressure(1e-9), "<0.01");
        assert_eq!(pressure(0.994_9), "0.99");
        assert_eq!(pressure(0.995), "<1.00");
        assert_eq!(pressure(0.999_999_999_9), "<1.00");
        assert_eq!(pressure(1.0), "1.00");
        assert_eq!(pressure(99.994), "99.99");
        assert_eq!(pressure(1234.5), "1234");
        let percent = |value| display_number(value, Form::Percent);
        assert_eq!(percent(0.0), "0");
        assert_eq!(percent(1e-17), "0");
        assert_eq!(percent(0.004), "<1");
        assert_eq!(percent(0.5714), "57");
        assert_eq!(percent(0.997), ">99");
        assert_eq!(percent(1.0), "100");
        // A bound of an interval may be off by a rounding error.
        assert_eq!(percent(-1e-17), "0");
        assert_eq!(percent(1.000_000_000_000_000_2), "100");
    }

    #[test]
    fn a_list_is_joined_as_people_write_it() {
        let join = |parts: &[&str]| {
            let parts: Vec<String> = parts.iter().map(|part| part.to_string()).collect();
            join_with_and(&parts)
        };
        assert_eq!(join(&[]), None);
        assert_eq!(join(&["a"]).as_deref(), Some("a"));
        assert_eq!(join(&["a", "b"]).as_deref(), Some("a and b"));
        assert_eq!(join(&["a", "b", "c"]).as_deref(), Some("a, b and c"));
    }

    /// Factors by hand: 1 acre is 0.40468564224 ha, 1 lb 0.45359237 kg, 1 ft 0.3048 m.
    #[test]
    fn amounts_are_said_in_either_system() {
        let (us, metric) = (Units::Us, Units::Metric);
        assert_eq!(us.area(62.4), "154.19 acres");
        assert_eq!(metric.area(62.4), "62.40 ha");
        assert_eq!(us.whole_area(64.0), "158 acres");
        assert_eq!(us.distance(38.7251), "127 ft");
        assert_eq!(metric.distance(38.7251), "39 m");
        assert_eq!(us.degree_days(612.4), "1,102 degree-days (\u{b0}F)");
        assert_eq!(metric.degree_days(612.4), "612 degree-days (\u{b0}C)");
        let economics: Economics = serde_json::from_str(
            r#"{"treatment_cost":{"amount":8,"per":"acre","currency":"USD"},
                "market_value":{"amount":0.16,"per":"lb","currency":"EUR"},
                "plant_population":{"count":20000,"per":"acre"}}"#,
        )
        .expect("economics");
        let cost = economics.treatment_cost.expect("a cost");
        let price = economics.market_value.expect("a price");
        let plants = economics.plant_population.expect("plants");
        assert_eq!(us.cost(&cost), "$8.00 per acre");
        assert_eq!(metric.cost(&cost), "$19.77 per ha");
        assert_eq!(us.price(&price), "16.00\u{a0}EUR per cwt");
        assert_eq!(metric.price(&price), "0.35\u{a0}EUR per kg");
        assert_eq!(us.plants(&plants), "20,000 plants per acre");
        assert_eq!(metric.plants(&plants), "49,421 plants per ha");
    }
}
