//! Something that is known from one visit, and which of two visits it is known from.

use std::hash::{DefaultHasher, Hash, Hasher};

use indexmap::IndexMap;
use indexmap::map::Entry;

/// Something that is known from one visit.
#[derive(Debug, Clone, Copy)]
pub(super) struct Seen<T> {
    pub(super) what: T,
    /// A hash of the visit's id.
    pub(super) visit: u64,
    pub(super) revision: u32,
    /// The order of acceptance.
    pub(super) accepted: (i64, i64),
}

impl<T: Copy> Seen<T> {
    /// Something else that is known from the same visit.
    pub(super) fn of<U>(&self, what: U) -> Seen<U> {
        Seen {
            what,
            visit: self.visit,
            revision: self.revision,
            accepted: self.accepted,
        }
    }

    /// What is known, unless it is known from the visit itself.
    pub(super) fn other_than(&self, visit: u64) -> Option<T> {
        (self.visit != visit).then_some(self.what)
    }

    /// What counts after another visit was accepted, if that changes anything: the correction of the
    /// same visit in its place, or what was accepted earlier.
    pub(super) fn replaced_by(&self, other: Seen<T>) -> Option<Seen<T>> {
        if self.visit == other.visit {
            return (other.revision > self.revision).then_some(Seen {
                accepted: self.accepted,
                ..other
            });
        }
        (other.accepted < self.accepted).then_some(other)
    }
}

/// Forgets what is known from a visit.
pub(super) fn forget<K: Eq + Hash, T>(known: &mut IndexMap<K, Seen<T>>, key: K, own: u64) {
    if let Entry::Occupied(seen) = known.entry(key)
        && seen.get().visit == own
    {
        seen.swap_remove();
    }
}

/// A hash of an id, the same in every run.
pub(super) fn hash_of(id: &str) -> u64 {
    let mut hasher = DefaultHasher::new();
    id.hash(&mut hasher);
    hasher.finish()
}

/// Takes in what is known from a visit: a correction takes its own place, and what was accepted first counts.
pub(super) fn see_first<K: Eq + Hash, T: Copy>(
    known: &mut IndexMap<K, Seen<T>>,
    key: K,
    seen: Seen<T>,
) {
    match known.entry(key) {
        Entry::Vacant(vacant) => {
            vacant.insert(seen);
        }
        Entry::Occupied(mut known) => {
            if let Some(seen) = known.get().replaced_by(seen) {
                known.insert(seen);
            }
        }
    }
}
