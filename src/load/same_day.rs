//! The visit of each field, day, scout and protocol that was accepted first: another id for the same four is most often
//! one visit sent twice.
//!
//! What the four are is kept as a hash. A correction that moves a visit to another field or day leaves its former
//! place filled until the run ends.

use std::hash::{DefaultHasher, Hash, Hasher};

use indexmap::IndexMap;
use indexmap::map::Entry;

use scouting::visit::rules::doubts::SameVisit;
use store::rows::past::PastVisit;

/// The first visit of each field, day, scout and protocol.
#[derive(Debug, Default)]
pub(super) struct SameDays {
    first: IndexMap<u64, First>,
}

#[derive(Debug)]
struct First {
    visit_id: Box<str>,
    revision: u32,
    accepted: (i64, i64),
    total: u64,
    stage: (i32, i32),
}

impl SameDays {
    /// The visit of these four that is known under another id.
    pub(super) fn other(&self, key: u64, visit_id: &str) -> Option<SameVisit<'_>> {
        let first = self.first.get(&key)?;
        (*first.visit_id != *visit_id).then_some(SameVisit {
            visit_id: &first.visit_id,
            total: first.total,
            stage: first.stage,
        })
    }

    /// Takes in a visit that was accepted; a correction takes its own place.
    pub(super) fn see(&mut self, visit: &PastVisit<'_>) {
        let key = key_of(
            visit.field_id,
            &visit.observed_on,
            visit.observer_id,
            visit.protocol,
        );
        let mut seen = First {
            visit_id: visit.visit_id.into(),
            revision: visit.revision,
            accepted: (visit.received_at, visit.line),
            total: visit.total.unsigned_abs(),
            stage: (visit.stage_first, visit.stage_last),
        };
        match self.first.entry(key) {
            Entry::Vacant(vacant) => {
                vacant.insert(seen);
            }
            Entry::Occupied(mut known) => {
                let before = known.get();
                if before.visit_id == seen.visit_id {
                    if seen.revision > before.revision {
                        seen.accepted = before.accepted;
                        known.insert(seen);
                    }
                } else if seen.accepted < before.accepted {
                    known.insert(seen);
                }
            }
        }
    }

    /// Forgets a visit that is withdrawn.
    pub(super) fn withdraw(&mut self, key: u64, visit_id: &str) {
        if let Entry::Occupied(known) = self.first.entry(key)
            && *known.get().visit_id == *visit_id
        {
            known.swap_remove();
        }
    }
}

/// The key of a field, day, scout and protocol.
pub(super) fn key_of(
    field_id: &str,
    day: &jiff::civil::Date,
    observer_id: &str,
    protocol: &str,
) -> u64 {
    let mut hasher = DefaultHasher::new();
    (field_id, day, observer_id, protocol).hash(&mut hasher);
    hasher.finish()
}
