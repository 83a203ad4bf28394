//! A threshold worked out for one field, in words, in the units of either side.

use crate::shared::shown_numbers::Units;
use scouting::visit::record::Economics;

/// One field's economics and the threshold that follows, in words.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct WorkedThreshold {
    /// The economics by the acre and the hundredweight.
    pub us: String,
    /// The same by the hectare and the kilogram.
    pub metric: String,
    /// What follows.
    pub outcome: String,
}

impl WorkedThreshold {
    /// In words; `None` where a member of the economics is not given. `threshold` is in the unit of `counted`.
    pub fn of(economics: &Economics, threshold: f64, counted: &str) -> Option<WorkedThreshold> {
        let cost = economics.treatment_cost.as_ref()?;
        let value = economics.market_value.as_ref()?;
        let plants = economics.plant_population.as_ref()?;
        let said = |units: Units| {
            format!(
                "Where treatment costs {}, the crop sells at {} and the plant population is {},",
                units.cost(cost),
                units.price(value),
                units.plants(plants)
            )
        };
        Some(WorkedThreshold {
            us: said(Units::Us),
            metric: said(Units::Metric),
            outcome: format!("the threshold is {threshold:.1} {counted}."),
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn both_sides_say_the_same_field() {
        let economics: Economics = serde_json::from_str(
            r#"{"treatment_cost":{"amount":8,"per":"acre","currency":"USD"},
                "market_value":{"amount":0.16,"per":"lb","currency":"USD"},
                "plant_population":{"count":20000,"per":"acre"}}"#,
        )
        .expect("economics");
        let worked = WorkedThreshold::of(&economics, 3.205, "eggs").expect("all is given");
        assert_eq!(
            worked.us,
            "Where treatment costs $8.00 per acre, the crop sells at $16.00 per cwt and the plant population is 20,000 plants per acre,"
        );
        // 8 / 0.40468564224, 0.16 / 0.45359237, 20,000 / 0.40468564224.
        assert_eq!(
            worked.metric,
            "Where treatment costs $19.77 per ha, the crop sells at $0.35 per kg and the plant population is 49,421 plants per ha,"
        );
        assert_eq!(worked.outcome, "the threshold is 3.2 eggs.");
        let without = Economics {
            market_value: None,
            ..economics
        };
        assert_eq!(WorkedThreshold::of(&without, 3.2, "eggs"), None);
    }
}
