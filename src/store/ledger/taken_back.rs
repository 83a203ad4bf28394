//! Loads that were taken back, and what that means for the revisions of a visit.
//!
//! An undo is a load of its own. It changes nothing that is there: it brings a next revision of each visit, with the
//! content that is in effect without the load that it takes back. A load that an undo names once is taken back; one
//! that is named twice is in effect again, and so on. What is in effect of a visit is the highest revision that a
//! sender, or an edit, brought with a load that is not taken back; revisions of undos only repeat it.
//!
//! So the numbers that a sender gives may be used up by an undo, or by the load that it took back. A record with such
//! a number gets the next free one, and keeps its own in `revision_sent`: else nobody could send a corrected file after
//! an undo. A record that takes the place of another of its number (`load --supersede`) uses up the next one in the same way.

use std::collections::{HashMap, HashSet};

use datafusion::prelude::SessionContext;
use serde::Deserialize;

use crate::ledger::visit_key::visit_key;
use crate::rows::query_rows::rows;
use scouting::failure::Failure;

/// The loads that have a receipt, and what the undos among them say.
#[derive(Debug, Default)]
pub(crate) struct ReceiptedLoads {
    pub(crate) all: HashSet<String>,
    /// Those that are taken back.
    pub(crate) taken_back: HashSet<String>,
    /// The undos themselves.
    pub(crate) undos: HashSet<String>,
}

impl ReceiptedLoads {
    /// Reads the receipts of a session.
    pub(crate) async fn read(session: &SessionContext) -> Result<ReceiptedLoads, Failure> {
        #[derive(Deserialize)]
        struct Row {
            load_id: String,
            undoes: Option<String>,
        }
        let receipts: Vec<Row> = rows(session, "select load_id, undoes from receipts").await?;
        let mut loads = ReceiptedLoads::default();
        for Row { load_id, undoes } in receipts {
            if let Some(undone) = undoes {
                loads.undos.insert(load_id.clone());
                // Named an even number of times, a load is in effect.
                if !loads.taken_back.remove(&undone) {
                    loads.taken_back.insert(undone);
                }
            }
            loads.all.insert(load_id);
        }
        Ok(loads)
    }

    /// Whether what a load brought can be in effect.
    pub(crate) fn in_effect(&self, load_id: &str) -> bool {
        !self.taken_back.contains(load_id) && !self.undos.contains(load_id)
    }
}

/// The revisions of a visit of which numbers are used up.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub(crate) struct UsedRevisions {
    /// The highest of all.
    highest: u32,
    /// The one in effect; 0 if there is none.
    in_effect: u32,
    /// The same by its sender's number.
    sent: u32,
}

/// Which number a record gets that comes with one.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Numbered {
    /// Its own.
    AsSent,
    /// Its own, unless it is the record that is kept under this one.
    UnlessKeptAs(u32),
    /// This one, since its own is used up.
    Next(u32),
}

impl UsedRevisions {
    pub(crate) fn numbered(&self, sent: u32) -> Numbered {
        if sent > self.highest || sent < self.sent {
            Numbered::AsSent
        } else if sent > self.sent {
            Numbered::Next(self.highest + 1)
        } else if self.in_effect == sent {
            Numbered::AsSent
        } else {
            Numbered::UnlessKeptAs(self.in_effect)
        }
    }

    /// The number that its sender gave to what is in effect; 0 if there is none.
    pub(crate) fn sent(&self) -> u32 {
        self.sent
    }

    /// Takes in a revision; one of an undo, or of a load taken back, is not in effect.
    pub(crate) fn take_in(&mut self, revision: u32, sent: u32, in_effect: bool) {
        self.highest = self.highest.max(revision);
        if in_effect && revision > self.in_effect {
            (self.in_effect, self.sent) = (revision, sent);
        }
    }
}

/// The visits of which numbers are used up, by undos or because a record took the place of another, by the key of
/// revision 0, which no record has. `any_renumbered` says whether there are records under other numbers.
pub(crate) async fn used_revisions(
    session: &SessionContext,
    loads: &ReceiptedLoads,
    any_renumbered: bool,
) -> Result<HashMap<u128, UsedRevisions>, Failure> {
    #[derive(Deserialize)]
    struct Row {
        visit_id: String,
        revision: u32,
        revision_sent: Option<u32>,
        load_id: String,
    }
    let named_by_undos = "select visit_id from visits where load_id in (\
         select load_id from receipts where undoes is not null \
         union all select undoes from receipts where undoes is not null)";
    let renumbered = "select visit_id from visits where revision_sent is not null";
    let visits = [
        (named_by_undos, !loads.undos.is_empty()),
        (renumbered, any_renumbered),
    ];
    let mut used: HashMap<u128, UsedRevisions> = HashMap::new();
    // One after the other: a visit that is in both is taken in twice, which changes nothing.
    for (visits, _) in visits.into_iter().filter(|(_, are_there)| *are_there) {
        let query = format!(
            "select visit_id, revision, revision_sent, load_id from visits \
             where load_id in (select load_id from receipts) and visit_id in ({visits})"
        );
        for row in rows::<Row>(session, &query).await? {
            let of_visit = used.entry(visit_key(&row.visit_id, 0)).or_default();
            let sent = row.revision_sent.unwrap_or(row.revision);
            of_visit.take_in(row.revision, sent, loads.in_effect(&row.load_id));
        }
    }
    Ok(used)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn used(revisions: &[(u32, u32, bool)]) -> UsedRevisions {
        let mut used = UsedRevisions::default();
        for (revision, sent, in_effect) in revisions {
            used.take_in(*revision, *sent, *in_effect);
        }
        used
    }

    #[test]
    fn a_number_that_an_undo_used_up_is_followed_by_the_next_free_one() {
        // Revision 1 was taken back by revision 2.
        let undone = used(&[(1, 1, false), (2, 2, false)]);
        assert_eq!(undone.numbered(1), Numbered::Next(3));
        assert_eq!(undone.numbered(2), Numbered::Next(3));
        assert_eq!(undone.numbered(3), Numbered::AsSent);
        // It came again, and is revision 3 now.
        let again = used(&[(1, 1, false), (2, 2, false), (3, 1, true)]);
        assert_eq!(again.numbered(1), Numbered::UnlessKeptAs(3));
        assert_eq!(again.numbered(2), Numbered::Next(4));
        assert_eq!(again.numbered(4), Numbered::AsSent);
    }

    #[test]
    fn a_number_that_is_in_effect_stays_what_it_is() {
        let restored = used(&[(1, 1, true), (2, 2, false), (3, 3, false)]);
        assert_eq!(restored.numbered(1), Numbered::AsSent);
        assert_eq!(restored.numbered(2), Numbered::Next(4));
        let later = used(&[(1, 1, false), (5, 5, true)]);
        assert_eq!(later.numbered(3), Numbered::AsSent);
        assert_eq!(later.numbered(5), Numbered::AsSent);
    }
}
