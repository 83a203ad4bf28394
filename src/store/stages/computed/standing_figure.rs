//! The table `standing_figure`: `standing_visit` with how sure each figure is and when treating would be due.
//!
//! The columns are put next to those of the same rows, so that nothing has to be joined; what they mean is described in
//! [`crate::stages::computed::certainty`] and [`crate::stages::computed::windows`].

use std::sync::Arc;

use arrow::array::RecordBatch;
use arrow::datatypes::{Field, Schema};

use crate::stages::computed::certainty::KnownSteps;
use crate::stages::computed::windows::{KnownHeat, Weather};
use crate::stages::engine::Parts;
use scouting::failure::{Failure, Kind};
use scouting::protocol::catalogue::Catalogue;

/// The rows of `standing_visit` in the parts and the order in which they came, with the columns `mean_low`,
/// `mean_high`, `probability_at_threshold`, `near_threshold`, `hatch_from`, `hatch_to`, `window_opens`,
/// `window_closes` and `window_basis`.
///
/// # Errors
/// A [`Failure`] if a column is not what the stage promises.
pub(crate) fn standing_figure(
    standing_visit: Parts,
    catalogue: &Catalogue,
    weather: &Weather,
) -> Result<Parts, Failure> {
    let mut steps = KnownSteps::default();
    let mut heat = KnownHeat::of(weather);
    let mut with_figures = |batch: RecordBatch| {
        let mut fields = batch.schema().fields().to_vec();
        let mut columns = batch.columns().to_vec();
        let certainty = steps.columns(&batch);
        for (name, column) in certainty
            .into_iter()
            .chain(heat.columns(&batch, catalogue)?)
        {
            let field = Field::new(name, column.data_type().clone(), true);
            fields.push(Arc::new(field));
            columns.push(column);
        }
        RecordBatch::try_new(Arc::new(Schema::new(fields)), columns).map_err(|error| {
            Failure::because(Kind::Stage, "cannot add the figures of the visits", error)
        })
    };
    let parts = standing_visit.into_iter();
    parts
        .map(|batches| batches.into_iter().map(&mut with_figures).collect())
        .collect()
}
