//! Dropping held records on purpose, and taking a drop back: who, when and why are kept, and so is the record.
//!
//! Either is one commit of one table, bound to the version that it was decided on: all of it counts,
//! or nothing does. If the table has changed meanwhile, what is open is read again.

use std::collections::HashSet;

use jiff::Timestamp;
use uuid::Uuid;

use crate::delta::append::{Sealed, commit_drop};
use crate::delta::snapshot::Snapshot;
use crate::delta::tables::Store;
use crate::ledger::held::{HeldEntry, dropped_of, entries_of, last_decided_at, open_entries};
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
    /// Those that go back to this sender: its name, a scout's pseudonym, or a file's name where neither is known.
    Sender(String),
}

/// Who decides, why and when.
#[derive(Debug, Clone, Copy)]
pub struct Decision<'a> {
    /// Why.
    pub reason: &'a str,
    /// Who decides.
    pub who: &'a str,
    /// When.
    pub at: Timestamp,
}

/// The records that a drop would close, in the order of arrival.
///
/// # Errors
/// If one of the named ids is not open, or nothing open is meant.
pub async fn to_be_dropped(store: &Store, which: &Which) -> Result<Vec<HeldEntry>, Failure> {
    chosen(open_entries(store).await?, which)
}

/// Drops records; those that it closed, in the order of arrival.
///
/// # Errors
/// If one of the named ids is not open, or nothing open is meant: then nothing is dropped.
pub async fn drop_held(
    store: &Store,
    which: &Which,
    decision: Decision<'_>,
) -> Result<Vec<HeldEntry>, Failure> {
    let drop_id = Uuid::now_v7().to_string();
    for _ in 0..ATTEMPTS_MAX {
        let snapshot = Snapshot::open(store, 1).await?;
        let chosen = chosen(entries_of(&snapshot).await?, which)?;
        let decided = last_decided_at(&snapshot).await?;
        let rows: Vec<ClosingRow> = chosen
            .iter()
            .map(|entry| {
                let ending = Ending::Dropped {
                    reason: decision.reason.to_owned(),
                    who: decision.who.to_owned(),
                };
                entry.closed(ending, after(decision.at, decided))
            })
            .collect();
        if commit_drop(store, snapshot.closings(), &rows, &drop_id).await? == Sealed::Done {
            return Ok(chosen);
        }
    }
    Err(busy())
}

/// Takes the drop of these records back: they are open again. Those that it opened, in the order of arrival.
///
/// # Errors
/// If one of them is not dropped: then nothing is changed.
pub async fn restore_held(
    store: &Store,
    ids: &[HeldId],
    decision: Decision<'_>,
) -> Result<Vec<HeldEntry>, Failure> {
    let restore_id = Uuid::now_v7().to_string();
    for _ in 0..ATTEMPTS_MAX {
        let snapshot = Snapshot::open(store, 1).await?;
        let mut dropped = dropped_of(&snapshot).await?;
        dropped.retain(|entry| ids.contains(&entry.held_id));
        let known: HashSet<HeldId> = dropped.iter().map(|entry| entry.held_id).collect();
        if let Some(id) = ids.iter().find(|id| !known.contains(id)) {
            return Err(Failure::new(
                Kind::Settings,
                format!("nothing was restored: no dropped record has the id {id}"),
            )
            .mend("`bractline sql \"select * from held_closed where how = 'dropped'\"` shows what was dropped, when and why"));
        }
        let decided = last_decided_at(&snapshot).await?;
        let rows: Vec<ClosingRow> = dropped
            .iter()
            .map(|entry| {
                let ending = Ending::Restored {
                    reason: decision.reason.to_owned(),
                    who: decision.who.to_owned(),
                };
                entry.closed(ending, after(decision.at, decided))
            })
            .collect();
        if commit_drop(store, snapshot.closings(), &rows, &restore_id).await? == Sealed::Done {
            return Ok(dropped);
        }
    }
    Err(busy())
}

/// A time after the last decision of the desk: of a drop and its taking back the later one counts, even where a clock
/// was set back.
fn after(now: Timestamp, decided: Option<Timestamp>) -> Timestamp {
    let Some(decided) = decided else { return now };
    let next = decided.as_microsecond().saturating_add(1);
    Timestamp::from_microsecond(next).map_or(now, |next| now.max(next))
}

fn busy() -> Failure {
    Failure::new(Kind::Busy, "cannot drop or restore: the store stayed busy")
        .mend("try again when the loads have finished; nothing was changed")
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
