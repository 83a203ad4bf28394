//! What taking a load back changes: the next revision of each visit that it brought.
//!
//! In effect of a visit is the highest revision that a sender or an edit brought with a load that is not taken back.
//! Taking a load back, or bringing it back, changes which that is. Where it does, the visit gets a next revision with
//! the content that is in effect now, or one that withdraws it if there is none. Nothing else is decided here.

use std::collections::HashSet;

use serde::Serialize;

use scouting::visit::record::Visit;
use store::ledger::loads::{Load, taken_back};
use store::rows::visit_records::StoredRevision;

/// What an undo does to a visit.
#[derive(Debug, Clone, Serialize)]
pub(crate) struct Change {
    pub(crate) visit_id: String,
    /// The next revision.
    pub(crate) revision: u32,
    /// The revision whose content it has; `None` if it withdraws the visit.
    pub(crate) content_of: Option<u32>,
    #[serde(skip)]
    pub(crate) visit: Visit,
    #[serde(skip)]
    pub(crate) sender: Option<String>,
}

/// A visit that stays as it is, since a later load brought a higher revision.
#[derive(Debug, Clone, Serialize)]
pub(crate) struct Left {
    pub(crate) visit_id: String,
    /// That revision.
    pub(crate) revision: u32,
    pub(crate) load_id: String,
}

/// What becomes of the visits of which a load brought a revision; `revisions` are all of those visits, in order.
pub(crate) fn planned(
    loads: &[Load],
    load_id: &str,
    revisions: &[StoredRevision],
) -> (Vec<Change>, Vec<Left>) {
    let undos: HashSet<&str> = loads
        .iter()
        .filter(|load| load.undoes.is_some())
        .map(|load| load.load_id.as_str())
        .collect();
    let before = taken_back(loads);
    let mut after = before.clone();
    if !after.remove(load_id) {
        after.insert(load_id);
    }
    let (mut changes, mut left) = (Vec::new(), Vec::new());
    let visits = revisions.chunk_by(|one, next| one.visit.visit_id == next.visit.visit_id);
    for revisions in visits {
        let in_effect = |taken_back: &HashSet<&str>| {
            let may = |revision: &&StoredRevision| {
                let load = revision.load_id.as_str();
                !undos.contains(load) && !taken_back.contains(load)
            };
            revisions.iter().rfind(may)
        };
        let (was, is) = (in_effect(&before), in_effect(&after));
        let number = |revision: Option<&StoredRevision>| revision.map(|of| of.visit.revision);
        let highest = number(revisions.last()).unwrap_or_default();
        match (was, is) {
            (Some(was), Some(is)) if was.visit.revision == is.visit.revision => left.push(Left {
                visit_id: is.visit.visit_id.clone(),
                revision: is.visit.revision,
                load_id: is.load_id.clone(),
            }),
            (was, is) => changes.extend(is.or(was).map(|source| Change {
                visit_id: source.visit.visit_id.clone(),
                revision: highest + 1,
                content_of: number(is),
                visit: next_revision(&source.visit, highest + 1, is.is_none()),
                sender: source.sender.clone(),
            })),
        }
    }
    (changes, left)
}

fn next_revision(visit: &Visit, revision: u32, withdrawn: bool) -> Visit {
    let retracted = match withdrawn {
        true => Some(true),
        false => visit.retracted,
    };
    Visit {
        revision,
        retracted,
        ..visit.clone()
    }
}
