//! How sure the figure of each standing visit is.
//!
//! Student's distribution is no function of stock SQL, so it is computed here, row by row, from the table
//! `standing_visit`; what it means is described in `stats::sampling::field_mean`.

use std::collections::HashMap;
use std::sync::Arc;

use arrow::array::{Array, ArrayRef, AsArray, BooleanArray, Float64Array, RecordBatch};
use arrow::datatypes::{Float64Type, Int32Type};

use stats::sampling::field_mean::{FieldMean, Interval, steps_of};

/// With what probability the interval holds the field's true mean.
const CONFIDENCE: f64 = 0.95;

/// How sure one figure is. Every member is `None` for a single site, which has no standard error.
#[derive(Default)]
struct Certainty {
    interval: Option<Interval>,
    probability_at_threshold: Option<f64>,
}

/// How far intervals reach, by the number of sites. Finding it takes a hundred times as long as using it, and
/// most fields of a region have one of a few numbers.
#[derive(Default)]
pub(crate) struct KnownSteps(HashMap<u32, Option<f64>>);

impl KnownSteps {
    /// Of each row of `standing_visit`: `mean_low` and `mean_high` in the unit of the field mean,
    /// `probability_at_threshold`, `near_threshold`.
    pub(crate) fn columns(
        &mut self,
        standing_visit: &RecordBatch,
    ) -> [(&'static str, ArrayRef); 4] {
        let number = |name: &str| standing_visit[name].as_primitive::<Float64Type>();
        let means = number("field_mean");
        let errors = number("standard_error");
        let thresholds = number("threshold");
        let sites = standing_visit["sites"].as_primitive::<Int32Type>();
        let rows: Vec<Certainty> = (0..standing_visit.num_rows())
            .map(|row| {
                let error = errors.is_valid(row).then(|| errors.value(row));
                let sites = u32::try_from(sites.value(row)).unwrap_or(0);
                let field = FieldMean::new(means.value(row), error, sites);
                field.map_or_else(Certainty::default, |field| {
                    certainty(&field, self.of(sites), thresholds.value(row))
                })
            })
            .collect();
        let numbers = |of: fn(&Certainty) -> Option<f64>| -> ArrayRef {
            Arc::new(rows.iter().map(of).collect::<Float64Array>())
        };
        let near: BooleanArray = rows
            .iter()
            .enumerate()
            .map(|(row, certainty)| Some(certainty.interval?.covers(thresholds.value(row))))
            .collect();
        [
            ("mean_low", numbers(|row| Some(row.interval?.low))),
            ("mean_high", numbers(|row| Some(row.interval?.high))),
            (
                "probability_at_threshold",
                numbers(|row| row.probability_at_threshold),
            ),
            ("near_threshold", Arc::new(near)),
        ]
    }

    fn of(&mut self, sites: u32) -> Option<f64> {
        let known = self.0.entry(sites);
        *known.or_insert_with(|| steps_of(CONFIDENCE, sites))
    }
}

fn certainty(field: &FieldMean, steps: Option<f64>, threshold: f64) -> Certainty {
    Certainty {
        interval: steps.map(|steps| field.interval_published(steps)),
        probability_at_threshold: field
            .probability_in_proportion(threshold)
            .or_else(|| field.probability_at_or_above(threshold)),
    }
}
