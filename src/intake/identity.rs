//! New, duplicate or conflict: a record against what the store and this submission already have.

use std::collections::{HashMap, HashSet};

use crate::store::known::{KnownRecords, NewlyKnown, half, visit_key};
use crate::store::rows::{HeldRow, VisitRow};
use crate::visit::finding::Finding;

/// What a sound record is.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Identity {
    /// Not seen before.
    New,
    /// The same visit, revision and content.
    Duplicate,
    /// The same visit and revision, other content.
    Conflict,
}

/// What one attempt has accepted and held so far.
#[derive(Debug, Default)]
pub struct Ledger {
    accepted: HashMap<u128, u128>,
    held: HashSet<u128>,
}

impl Ledger {
    /// Decides what a sound record is, and remembers it if it is new.
    pub fn decide(&mut self, known: &KnownRecords, row: &VisitRow) -> Identity {
        let key = visit_key(&row.visit.visit_id, row.visit.revision);
        let content = half(&row.content_sha256);
        match known
            .content(key)
            .or_else(|| self.accepted.get(&key).copied())
        {
            Some(before) if before == content => Identity::Duplicate,
            Some(_) => Identity::Conflict,
            None => {
                self.accepted.insert(key, content);
                Identity::New
            }
        }
    }

    /// Takes back a decision: the record is new and not accepted all the same.
    pub fn forget(&mut self, row: &VisitRow) {
        self.accepted
            .remove(&visit_key(&row.visit.visit_id, row.visit.revision));
    }

    /// Whether a held record must be kept: not if an earlier load holds the same bytes.
    pub fn keep(&mut self, known: &KnownRecords, row: &HeldRow) -> bool {
        let record = half(&row.record_sha256);
        let held_before = known.holds(record);
        if !held_before {
            self.held.insert(record);
        }
        !held_before
    }

    /// Whether a load that was quicker brought any of this attempt's records.
    pub fn meets(&self, newly: &NewlyKnown) -> bool {
        newly
            .visits
            .iter()
            .any(|key| self.accepted.contains_key(key))
            || newly.held.iter().any(|record| self.held.contains(record))
    }

    /// What the attempt accepted and held, for the next submission of the same run.
    pub fn into_parts(self) -> (HashMap<u128, u128>, HashSet<u128>) {
        (self.accepted, self.held)
    }
}

/// The finding of a conflict.
pub fn revision_conflict(row: &VisitRow) -> Finding {
    Finding::new(
        "revision-conflict",
        "/revision",
        format!(
            "revision {} of {} with other content",
            row.visit.revision, row.visit.visit_id
        ),
        "a corrected visit raises its revision; the record that came first stands",
    )
}
