//! How many fields of a period could be called at their threshold or below it.

use arrow::array::{Array, AsArray, RecordBatch};
use arrow::datatypes::Int32Type;
use serde::Serialize;

use crate::shared::report::counted;

/// Field-weeks within the stage window that follow no treatment, by whether they are called.
#[derive(Debug, Serialize)]
pub(crate) struct FieldCalls {
    pub(crate) within_window: usize,
    pub(crate) undetermined: usize,
    /// Undetermined ones that up to 24 further sites with the same mean would settle.
    pub(crate) settled_by_further_sites: usize,
    /// Those of a season with too few fields for a range or a call.
    pub(crate) without_range: usize,
}

impl FieldCalls {
    /// Of rows of the table `field_week`.
    pub(crate) fn of(field_week: &RecordBatch) -> FieldCalls {
        let in_window = field_week["in_window"].as_boolean();
        let after_treatment = field_week["after_treatment"].as_boolean();
        let undetermined = field_week["undetermined"].as_boolean();
        let further = field_week["further_sites"].as_primitive::<Int32Type>();
        let within: Vec<usize> = (0..field_week.num_rows())
            .filter(|row| in_window.value(*row) && !after_treatment.value(*row))
            .collect();
        let count = |of: &dyn Fn(usize) -> bool| within.iter().filter(|row| of(**row)).count();
        FieldCalls {
            within_window: within.len(),
            undetermined: count(&|row| undetermined.is_valid(row) && undetermined.value(row)),
            settled_by_further_sites: count(&|row| further.is_valid(row)),
            without_range: count(&|row| undetermined.is_null(row)),
        }
    }

    /// For people.
    pub(crate) fn text(&self) -> String {
        let fields = counted(self.within_window as u64, "field-week", "field-weeks");
        let mut text = format!(
            "{fields} in the stage window: {} undetermined (neither at nor below threshold with enough certainty), of which \
             up to 24 further sites would settle {}: columns undetermined and further_sites of field_week.parquet",
            self.undetermined, self.settled_by_further_sites
        );
        if self.without_range > 0 {
            text += &format!(
                "; {} not judged, since the season has too few fields to know how clumped the counts are",
                self.without_range
            );
        }
        text
    }
}
