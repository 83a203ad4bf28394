//! Dropping held records on purpose: who, when and why are kept, and so is the record.
//!
//! A drop is one commit of one table, bound to the version that it was decided on: all of it counts,
//! or nothing does. If the table has changed meanwhile, what is open is read again.

use std::collections::HashSet;
use std::sync::Arc;

use jiff::Timestamp;
use uuid::Uuid;

use crate::delta::append::{Sealed, commit_drop};
use crate::delta::snapshot::Snapshot;
use crate::delta::tables::Store;
use crate::ledger::held::{HeldEntry, entries_of};
use crate::rows::closings::{ClosingRow, Ending};
use scouting::failure::{Failure, Kind};
use scouting::visit::held_id::HeldId;

/// A drop that is overtaken more often than this gives up.
const ATTEMPTS_MAX: usize = 50;

/// Which open held records to drop.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Which {
    /// These.
    Ids(Vec<HeldId>),
    /// Those that came in files of this name.
    File(String),
    /// Those that go back to this sender: a scout's pseudonym, or a file's name where no scout is named.
    Sender(String),
}

/// Drops records; those that it closed, in the order of arrival.
///
/// # Errors
/// If one of the named ids is not open, or nothing open is meant: then nothing is dropped.
pub async fn drop_held(
    store: &Store,
    which: &Which,
    reason: &str,
    who: &str,
    now: Timestamp,
) -> Result<Vec<HeldEntry>, Failure> {
    let drop_id = Uuid::now_v7().to_string();
    for _ in 0..ATTEMPTS_MAX {
        let snapshot = Snapshot::open(store, 1).await?;
        let chosen = chosen(entries_of(&snapshot).await?, which)?;
        let rows: Vec<ClosingRow> = chosen
            .iter()
            .map(|entry| closing(entry, reason, who, now))
            .collect();
        if commit_drop(store, snapshot.closings(), &rows, &drop_id).await? == Sealed::Done {
            return Ok(chosen);
        }
    }
    Err(
        Failure::new(Kind::Busy, "cannot drop: the store stayed busy")
            .mend("drop again when the loads have finished; nothing was dropped"),
    )
}

fn closing(entry: &HeldEntry, reason: &str, who: &str, now: Timestamp) -> ClosingRow {
    ClosingRow {
        record_sha256: entry.record_sha256,
        submission_sha256: Arc::from(entry.submission_sha256.as_str()),
        line: entry.line,
        ending: Ending::Dropped {
            reason: reason.to_owned(),
            who: who.to_owned(),
        },
        closed_at: now,
    }
}

fn chosen(open: Vec<HeldEntry>, which: &Which) -> Result<Vec<HeldEntry>, Failure> {
    if let Which::Ids(ids) = which {
        let known: HashSet<HeldId> = open.iter().map(|entry| entry.held_id).collect();
        if let Some(id) = ids.iter().find(|id| !known.contains(id)) {
            return Err(not_open(format!("no open held record has the id {id}")));
        }
    }
    let chosen: Vec<HeldEntry> = open
        .into_iter()
        .filter(|entry| match which {
            Which::Ids(ids) => ids.contains(&entry.held_id),
            Which::File(name) => entry.file_name == *name,
            Which::Sender(name) => entry.sender().name() == name,
        })
        .collect();
    if chosen.is_empty() {
        let meant = match which {
            Which::Ids(_) => "no id was named".to_owned(),
            Which::File(name) => format!("no open held record came in a file {name:?}"),
            Which::Sender(name) => format!("no open held record goes back to {name:?}"),
        };
        return Err(not_open(meant));
    }
    Ok(chosen)
}

fn not_open(what: String) -> Failure {
    Failure::new(Kind::Settings, format!("nothing was dropped: {what}")).mend(
        "`bractline held list --all` shows what is open; was it corrected or dropped already?",
    )
}
