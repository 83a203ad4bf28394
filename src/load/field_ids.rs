//! Who reported each field of a season first, and which field had an id of the same look first.

use indexmap::{IndexMap, IndexSet};

use super::seen::{Seen, forget, hash_of, see_first};
use scouting::visit::rules::identity_doubts::as_it_looks;
use store::rows::past::PastVisit;

/// The first sender and the first spelling of each field id in each season. A field is known by its place in the history.
#[derive(Debug, Default)]
pub(super) struct FieldIds {
    senders: IndexSet<Box<str>>,
    /// Where the first sender of a field that names itself saw it.
    reported: IndexMap<(u32, i32), Seen<Reported>>,
    /// The field that had an id of this look first.
    looks: IndexMap<(u64, i32), Seen<u32>>,
}

/// By whom and where a field was reported.
#[derive(Debug, Clone, Copy)]
struct Reported {
    sender: u32,
    /// `None` where only the county of the field is known.
    point: Option<(f64, f64)>,
}

impl FieldIds {
    /// The sender that reported a field first, with the point, unless it is `sender` or known from the visit itself.
    pub(super) fn other_sender(
        &self,
        (place, season): (u32, i32),
        sender: &str,
        own: u64,
    ) -> Option<(&str, Option<(f64, f64)>)> {
        let first = self.reported.get(&(place, season))?.other_than(own)?;
        let name = self.senders.get_index(first.sender as usize)?;
        (**name != *sender).then_some((&**name, first.point))
    }

    /// The field that had an id of this look first, unless it is known from the visit itself.
    pub(super) fn look_alike(&self, field_id: &str, season: i32, own: u64) -> Option<u32> {
        let key = (hash_of(&as_it_looks(field_id)), season);
        self.looks.get(&key)?.other_than(own)
    }

    /// Takes in a visit of the field at a place in the history.
    pub(super) fn see(
        &mut self,
        place: u32,
        visit: &PastVisit<'_>,
        seen: Seen<Option<(f64, f64)>>,
    ) {
        let look = (hash_of(&as_it_looks(visit.field_id)), visit.season);
        see_first(&mut self.looks, look, seen.of(place));
        if let Some(name) = visit.sender {
            let sender = self.sender(name);
            let reported = seen.of(Reported {
                sender,
                point: seen.what,
            });
            see_first(&mut self.reported, (place, visit.season), reported);
        }
    }

    fn sender(&mut self, name: &str) -> u32 {
        let known = self.senders.get_index_of(name);
        let place = known.unwrap_or_else(|| self.senders.insert_full(name.into()).0);
        u32::try_from(place).expect("fewer than four billion senders")
    }

    /// Forgets what is known from a visit that is withdrawn.
    pub(super) fn withdraw(&mut self, (place, field_id, season): (u32, &str, i32), own: u64) {
        forget(&mut self.reported, (place, season), own);
        forget(
            &mut self.looks,
            (hash_of(&as_it_looks(field_id)), season),
            own,
        );
    }
}
