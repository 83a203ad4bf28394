//! The held records that are open, by their id and by the visit that they speak of.

use std::collections::{HashMap, HashSet};
use std::sync::Arc;

use jiff::Timestamp;

use crate::rows::closings::{ClosingRow, Ending};
use scouting::visit::held_id::HeldId;

/// One open held record, as much of it as closing it takes.
#[derive(Debug, Clone)]
pub struct OpenRecord {
    /// SHA-256 of the record as sent.
    pub record_sha256: [u8; 32],
    /// SHA-256 of its submission, hexadecimal.
    pub submission_sha256: Arc<str>,
    /// Its line there.
    pub line: u64,
    /// Key of the visit revision whose acceptance closes it; `None` if its identity could not be
    /// read, or if it is held because that revision is taken.
    pub visit: Option<u128>,
    /// Who sent it, if it is known.
    pub sender: Option<Arc<str>>,
}

impl OpenRecord {
    /// Its id.
    pub(crate) fn id(&self) -> HeldId {
        HeldId::new(&self.record_sha256, self.line)
    }

    /// The row that closes it.
    pub(crate) fn closed(&self, ending: Ending, closed_at: Timestamp) -> ClosingRow {
        ClosingRow {
            record_sha256: self.record_sha256,
            submission_sha256: self.submission_sha256.clone(),
            line: self.line,
            ending,
            closed_at,
        }
    }
}

/// Every open held record.
#[derive(Debug, Default)]
pub struct OpenHeld {
    records: HashMap<HeldId, OpenRecord>,
    by_visit: HashMap<u128, Vec<HeldId>>,
    closed: HashSet<HeldId>,
    /// The held record that represents another.
    replaced: HashMap<HeldId, HeldId>,
    /// Who sent each record, open or closed, as far as it is known.
    senders: HashMap<HeldId, Arc<str>>,
}

impl OpenHeld {
    /// Takes in a held record; one that is closed stays closed, in whichever order the two arrive.
    pub(crate) fn open(&mut self, record: OpenRecord) {
        let id = record.id();
        if let Some(sender) = &record.sender {
            self.senders.insert(id, sender.clone());
        }
        if self.closed.contains(&id) {
            return;
        }
        if let Some(visit) = record.visit {
            self.by_visit.entry(visit).or_default().push(id);
        }
        self.records.insert(id, record);
    }

    /// Takes in that a record is closed.
    pub(crate) fn close(&mut self, id: HeldId) {
        self.records.remove(&id);
        self.closed.insert(id);
    }

    /// Takes in that a held record represents another, which is closed.
    pub(crate) fn replace(&mut self, id: HeldId, by: HeldId) {
        self.close(id);
        self.replaced.insert(id, by);
    }

    /// The record, or the one that represents it now, if it is open: who corrects the sheet that was sent
    /// out first corrects the later attempt as well.
    pub(crate) fn get(&self, id: HeldId) -> Option<&OpenRecord> {
        let mut id = id;
        // A record is replaced by a newer one, so the way ends; of a damaged table it ends here.
        for _ in 0..=self.replaced.len() {
            match self.replaced.get(&id) {
                Some(by) => id = *by,
                None => break,
            }
        }
        self.records.get(&id)
    }

    /// The id of the open record that a held id leads to.
    pub fn current(&self, id: HeldId) -> Option<HeldId> {
        self.get(id).map(OpenRecord::id)
    }

    /// Who sent a record, be it open or closed; `None` if that is not known.
    pub fn sender(&self, id: HeldId) -> Option<&Arc<str>> {
        self.senders.get(&id)
    }

    /// The records whose sender is known, open or closed, with it.
    pub fn senders(&self) -> impl Iterator<Item = (HeldId, &str)> {
        self.senders.iter().map(|(id, sender)| (*id, &**sender))
    }

    /// Whether there was ever such a record.
    pub fn has_known(&self, id: HeldId) -> bool {
        self.records.contains_key(&id) || self.closed.contains(&id)
    }

    /// The open records that the acceptance of a visit revision closes.
    pub(crate) fn of_visit(&self, visit: u128) -> impl Iterator<Item = &OpenRecord> {
        let ids = self.by_visit.get(&visit).into_iter().flatten();
        ids.filter_map(|id| self.records.get(id))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn record(byte: u8, visit: Option<u128>) -> OpenRecord {
        OpenRecord {
            record_sha256: [byte; 32],
            submission_sha256: Arc::from("ab"),
            line: 7,
            visit,
            sender: None,
        }
    }

    #[test]
    fn a_closed_record_is_closed_in_whichever_order_it_is_told() {
        let (first, second) = (record(1, Some(5)), record(2, Some(5)));
        let mut open = OpenHeld::default();
        open.open(first.clone());
        open.open(second.clone());
        assert_eq!(open.of_visit(5).count(), 2);
        open.close(first.id());
        assert!(open.get(first.id()).is_none() && open.has_known(first.id()));
        assert_eq!(open.of_visit(5).count(), 1);

        let mut told_first = OpenHeld::default();
        told_first.close(first.id());
        told_first.open(first.clone());
        assert!(told_first.get(first.id()).is_none());
        assert_eq!(told_first.of_visit(5).count(), 0);
        assert!(!told_first.has_known(second.id()));
    }

    #[test]
    fn the_id_of_a_replaced_record_leads_to_the_one_that_stands_for_it() {
        let ids: Vec<OpenRecord> = (1..=3).map(|byte| record(byte, None)).collect();
        let mut open = OpenHeld::default();
        open.replace(ids[0].id(), ids[1].id());
        open.replace(ids[1].id(), ids[2].id());
        open.open(ids[2].clone());
        assert_eq!(open.get(ids[0].id()).map(OpenRecord::id), Some(ids[2].id()));
        open.close(ids[2].id());
        assert!(open.get(ids[0].id()).is_none());
        // Two that represent each other can only be damage; looking still ends.
        open.replace(ids[2].id(), ids[0].id());
        assert!(open.get(ids[0].id()).is_none());
    }

    #[test]
    fn a_record_without_a_readable_identity_is_found_by_its_id_alone() {
        let mut open = OpenHeld::default();
        open.open(record(3, None));
        assert!(open.get(record(3, None).id()).is_some());
        assert_eq!(open.of_visit(0).count(), 0);
    }
}
