//! Taking a load back, or bringing it back: by new revisions, with a receipt of its own. Nothing is erased.

use jiff::Timestamp;
use serde::Serialize;

use super::find::{load_named, undoable};
use super::undo_plan::{Change, Left, planned};
use crate::load::loader::refused;
use crate::load::own::{Own, load_decided, own_loader};
use crate::workspace::Workspace;
use crate::workspace::open::open_store;
use scouting::failure::{Failure, Kind};
use store::delta::snapshot::Snapshot;
use store::delta::tables::Store;
use store::ledger::held::{HeldEntry, entries_of};
use store::ledger::loads::{Load, all_loads};
use store::rows::closings::{ClosingRow, Ending};

/// What an undo does, or would do.
#[derive(Debug, Serialize)]
pub(crate) struct Undone {
    /// The load that brought what is taken back, or brought back.
    pub(crate) load: Load,
    /// Whether it is taken back; else it is brought back.
    pub(crate) takes_back: bool,
    /// The load that the undo is; `None` if it was only looked at.
    pub(crate) undo: Option<String>,
    pub(crate) changes: Vec<Change>,
    /// Visits that stay as they are.
    pub(crate) left: Vec<Left>,
    /// Held records that are closed, since they came with the load.
    pub(crate) closed: Vec<HeldEntry>,
}

/// Who takes a load back, and why.
#[derive(Debug, Clone)]
pub(crate) struct Undoing {
    /// Id of the load, or its beginning.
    pub(crate) load: String,
    pub(crate) reason: String,
    pub(crate) who: String,
    pub(crate) now: Timestamp,
}

/// What an undo would do; nothing is changed.
///
/// # Errors
/// If it cannot be done.
pub(crate) async fn preview(workspace: &Workspace, undoing: &Undoing) -> Result<Undone, Failure> {
    let store = open_store(workspace).await?;
    let (own, undone) = decided(&store, undoing).await?;
    let account = own_loader(workspace, true).await?;
    let account = { account }.check_own(&own, undoing.now).await?;
    if let Some(held) = account.held.first().first() {
        return Err(refused(
            &own.name,
            held.visit_id.as_deref(),
            held.findings.first(),
        ));
    }
    Ok(undone)
}

/// Takes a load back, or brings it back.
///
/// # Errors
/// If it cannot be done: then nothing is changed.
pub(crate) async fn undo(workspace: &Workspace, undoing: &Undoing) -> Result<Undone, Failure> {
    let store = open_store(workspace).await?;
    let decide = async || decided(&store, undoing).await;
    let (account, undone) = load_decided(workspace, true, undoing.now, decide).await?;
    Ok(Undone {
        undo: Some(account.load_id),
        ..undone
    })
}

async fn decided(store: &Store, undoing: &Undoing) -> Result<(Own, Undone), Failure> {
    let snapshot = Snapshot::open(store, 1).await?;
    let loads = all_loads(&snapshot).await?;
    let named = load_named(&loads, &undoing.load)?;
    let undoable = undoable(&loads, named)?;
    let load = undoable.load;
    let revisions = snapshot.revisions_by_load(&load.load_id).await?;
    let (changes, left) = planned(&loads, &load.load_id, &revisions);
    let mut closed = Vec::new();
    if undoable.takes_back {
        closed = entries_of(&snapshot).await?;
        closed.retain(|entry| entry.load_id == load.load_id);
    }
    if load.accepted == 0 && load.held == load.held_before && load.closed == 0 {
        let what = format!(
            "cannot undo {} ({}): it brought nothing",
            load.load_id, load.file_name
        );
        return Err(Failure::new(Kind::Settings, what)
            .mend("its records were there already; undo the load that brought them"));
    }
    let own = Own {
        name: format!("undo of {}", load.file_name),
        revisions: (changes.iter())
            .map(|change| (change.visit.clone(), change.sender.clone()))
            .collect(),
        closings: (closed.iter())
            .map(|entry| closing(entry, undoing))
            .collect(),
        undoes: Some(load.load_id.clone()),
        reason: undoing.reason.clone(),
        who: undoing.who.clone(),
        decided_on: snapshot.receipts().version(),
    };
    let undone = Undone {
        load: load.clone(),
        takes_back: undoable.takes_back,
        undo: None,
        changes,
        left,
        closed,
    };
    Ok((own, undone))
}

fn closing(entry: &HeldEntry, undoing: &Undoing) -> ClosingRow {
    let ending = Ending::Undone {
        reason: undoing.reason.clone(),
        who: undoing.who.clone(),
    };
    entry.closed(ending, undoing.now)
}
