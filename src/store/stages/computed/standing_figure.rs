//! The table `standing_figure`: `standing_visit` with how sure each figure is and when treating would be due.
//!
//! The columns are put next to those of the same rows, so that nothing has to be joined; what they mean is described in
//! [`crate::stages::computed::certainty`] and [`crate::stages::computed::windows`].

use std::sync::Arc;

use arrow::array::RecordBatch;
use arrow::datatypes::{Field, Schema};

use crate::stages::computed::certainty::KnownRanges;
use crate::stages::computed::seasons::Seasons;
use crate::stages::computed::windows::KnownHeat;
use crate::stages::engine::Parts;
use crate::stages::inputs::Setting;
use scouting::failure::{Failure, Kind};
use scouting::protocol::catalogue::Catalogue;

/// The rows of `standing_visit` in the parts and the order in which they came, with the computed columns that the head of
/// `30_standing_visit.sql` lists. `seasons` is what is known of them; `None` to take it from these rows.
///
/// # Errors
/// A [`Failure`] if a column is not what the stage promises.
pub(crate) fn standing_figure(
    standing_visit: Parts,
    catalogue: &Catalogue,
    setting: &Setting,
    seasons: Option<&Seasons>,
) -> Result<Parts, Failure> {
    let of_these = match seasons {
        Some(_) => None,
        None => Some(Seasons::of(&standing_visit)?),
    };
    let seasons = seasons.or(of_these.as_ref());
    let seasons = seasons.expect("seasons are given, or taken from the rows");
    let mut ranges = KnownRanges::of(seasons, setting.certainty);
    let mut heat = KnownHeat::of(&setting.weather, &setting.weeks);
    let mut with_figures = |batch: RecordBatch| {
        let mut fields = batch.schema().fields().to_vec();
        let mut columns = batch.columns().to_vec();
        let certainty = ranges.columns(&batch)?;
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
