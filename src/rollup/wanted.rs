//! What a roll-up is to give: all its tables, or some; as recorded, or under other economics.

use arrow::array::RecordBatch;

use super::engine::Engine;
use super::inputs::Setting;
use super::run::{FINISHED, roll_up_as};
use super::scenario::Scenario;
use crate::failure::Failure;
use crate::protocol::catalogue::Catalogue;
use crate::store::snapshot::Snapshot;

/// What a roll-up is to give.
pub(super) struct Wanted<'a> {
    /// The tables that are kept; with the last of them it ends.
    pub(super) tables: &'a [&'a str],
    /// Other economics than those of the records.
    pub(super) scenario: Option<&'a Scenario>,
}

impl Default for Wanted<'_> {
    fn default() -> Self {
        Wanted {
            tables: &FINISHED,
            scenario: None,
        }
    }
}

/// The county-weeks of a version of the store, and how many visits are left out for want of a threshold: all that the
/// comparison of seasons reads, at less work and memory than a whole roll-up.
///
/// # Errors
/// A [`Failure`] if a stage fails.
pub async fn roll_up_county_weeks(
    snapshot: &Snapshot,
    catalogue: &Catalogue,
    setting: &Setting,
) -> Result<(RecordBatch, u64), Failure> {
    let wanted = Wanted {
        tables: &["county_week"],
        ..Wanted::default()
    };
    let engine = Engine::here(snapshot.session());
    let rollup = roll_up_as(snapshot, engine, catalogue, setting, wanted).await?;
    let left_out = rollup.visits_without_threshold;
    Ok((rollup.county_week().batch.clone(), left_out))
}
