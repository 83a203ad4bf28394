//! A threshold worked out for one field, in words, in the units of either side.

use crate::shared::report::grouped;
use scouting::visit::record::Economics;

/// One field's economics and the threshold that follows, in words.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct WorkedThreshold {
    /// The economics by the acre and the pound.
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
        let said = |cost_amount: f64, area, value_amount: f64, weight, plants: f64| {
            let (paid, sold) = (&cost.currency, &value.currency);
            let plants = grouped(plants.round_ties_even() as u64);
            format!(
                "Where treatment costs {cost_amount:.2}\u{a0}{paid} {area}, the crop sells at {value_amount:.2}\u{a0}{sold} {weight} \
                 and the plant population is {plants} plants {area},"
            )
        };
        Some(WorkedThreshold {
            us: said(
                cost.per_acre(),
                "per acre",
                value.per_lb(),
                "per pound",
                plants.per_acre(),
            ),
            metric: said(
                cost.per_ha(),
                "per hectare",
                value.per_kg(),
                "per kilogram",
                plants.per_ha(),
            ),
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
            "Where treatment costs 8.00\u{a0}USD per acre, the crop sells at 0.16\u{a0}USD per pound and the plant population is 20,000 plants per acre,"
        );
        // 8 / 0.40468564224, 0.16 / 0.45359237, 20,000 / 0.40468564224.
        assert_eq!(
            worked.metric,
            "Where treatment costs 19.77\u{a0}USD per hectare, the crop sells at 0.35\u{a0}USD per kilogram and the plant population is 49,421 plants per hectare,"
        );
        assert_eq!(worked.outcome, "the threshold is 3.2 eggs.");
        let without = Economics {
            market_value: None,
            ..economics
        };
        assert_eq!(WorkedThreshold::of(&without, 3.2, "eggs"), None);
    }
}
