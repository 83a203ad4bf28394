//! What a roll-up is to give: all its tables, or some; as recorded, or under other economics.

use crate::delta::snapshot::Snapshot;
use crate::stages::engine::Elsewhere;
use crate::stages::inputs::Setting;
use crate::stages::parts::in_parts;
use crate::stages::run::{FINISHED, Rollup};
use crate::stages::scenario::Scenario;
use scouting::failure::Failure;
use scouting::protocol::catalogue::Catalogue;

/// Rows of visits that are rolled up at once, unless a week alone has more: our choice, some two gigabytes.
const VISITS_AT_ONCE: u64 = 1_500_000;

/// What a roll-up is to give.
#[derive(Clone, Copy)]
pub(crate) struct Wanted<'a> {
    /// The tables that are kept; with the last of them it ends.
    pub(crate) tables: &'a [&'a str],
    /// Other economics than those of the records.
    pub(crate) scenario: Option<&'a Scenario>,
}

impl Default for Wanted<'_> {
    fn default() -> Self {
        Wanted {
            tables: &FINISHED,
            scenario: None,
        }
    }
}

/// Runs every stage over a version of the store, elsewhere if there is such a place, which has the tables
/// `visits` and `receipts` then.
///
/// # Errors
/// A [`Failure`] if a stage fails.
pub async fn roll_up(
    snapshot: &Snapshot,
    elsewhere: Option<&dyn Elsewhere>,
    catalogue: &Catalogue,
    setting: &Setting,
) -> Result<Rollup, Failure> {
    roll_up_keeping(snapshot, elsewhere, catalogue, setting, &[]).await
}

/// The same, and keeps some of the tables that are dropped otherwise.
///
/// # Errors
/// A [`Failure`] if a stage fails.
pub async fn roll_up_keeping(
    snapshot: &Snapshot,
    elsewhere: Option<&dyn Elsewhere>,
    catalogue: &Catalogue,
    setting: &Setting,
    also: &[&str],
) -> Result<Rollup, Failure> {
    let tables: Vec<&str> = FINISHED.iter().chain(also).copied().collect();
    let wanted = Wanted {
        tables: &tables,
        ..Wanted::default()
    };
    in_parts(
        snapshot,
        elsewhere,
        catalogue,
        setting,
        wanted,
        VISITS_AT_ONCE,
    )
    .await
}

/// The same in this process, with at most so many visits at once, unless a week alone has more: the tables are the
/// same for any number.
///
/// # Errors
/// A [`Failure`] if a stage fails.
pub async fn roll_up_by(
    snapshot: &Snapshot,
    catalogue: &Catalogue,
    setting: &Setting,
    visits_at_once: u64,
) -> Result<Rollup, Failure> {
    let wanted = Wanted::default();
    in_parts(snapshot, None, catalogue, setting, wanted, visits_at_once).await
}
