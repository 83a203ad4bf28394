//! New, duplicate or conflict: a record against what the store and this submission already have.

use std::sync::Arc;

use jiff::Timestamp;

use crate::ledger::known::{Brought, KnownRecords, NewlyKnown};
use crate::ledger::open_held::OpenRecord;
use crate::ledger::taken_back::{Numbered, UsedRevisions};
use crate::ledger::visit_key::{half, visit_key};
use crate::rows::closings::{ClosingRow, Ending};
use scouting::visit::code::Code;
use scouting::visit::finding::Finding;
use scouting::visit::held_id::HeldId;
use scouting::visit::record::Visit;
use scouting::visit::rows::{HeldRow, VisitRow};
use scouting::visit::words::MEMBERS_STORED_AND_SENT;

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

/// What one attempt has accepted, held and closed so far.
#[derive(Debug)]
pub struct Ledger {
    submission_sha256: Arc<str>,
    brought: Brought,
}

impl Ledger {
    /// The ledger of one attempt to load a submission.
    pub fn new(submission_sha256: &str) -> Ledger {
        Ledger {
            submission_sha256: Arc::from(submission_sha256),
            brought: Brought::default(),
        }
    }

    /// Decides what a sound record is, and remembers it if it is new.
    pub fn decide(&mut self, known: &KnownRecords, row: &VisitRow) -> Identity {
        let key = visit_key(&row.visit.visit_id, row.visit.revision);
        let content = half(&row.content_sha256);
        match self.content(known, key) {
            Some(before) if before == content => Identity::Duplicate,
            Some(_) => Identity::Conflict,
            None => {
                self.brought.visits.insert(key, content);
                Identity::New
            }
        }
    }

    /// The number under which a record is decided: its own, or the next free one where a load that was taken back had
    /// its own, and then `hash` gives its content again. A record that is kept under another number already is found
    /// under that.
    pub fn number(
        &self,
        known: &KnownRecords,
        row: &mut VisitRow,
        hash: impl Fn(&Visit) -> [u8; 32],
    ) {
        if self.is_kept_under_another(known, row, &hash) {
            return;
        }
        let Some(used) = self.used_revisions(known, &row.visit.visit_id) else {
            return;
        };
        let sent = row.visit.revision;
        let (number, only_if_kept) = match used.numbered(sent) {
            Numbered::AsSent => return,
            Numbered::Next(number) => (number, false),
            Numbered::UnlessKeptAs(number) => (number, true),
        };
        row.visit.revision = number;
        let content_sha256 = hash(&row.visit);
        let content = half(&content_sha256);
        if only_if_kept
            && self.content(known, visit_key(&row.visit.visit_id, number)) != Some(content)
        {
            row.visit.revision = sent;
            return;
        }
        row.content_sha256 = content_sha256;
        row.revision_sent = Some(sent);
    }

    /// Whether the record is kept under another number than its own, which it then gets.
    fn is_kept_under_another(
        &self,
        known: &KnownRecords,
        row: &mut VisitRow,
        hash: &impl Fn(&Visit) -> [u8; 32],
    ) -> bool {
        if self.brought.renumbered.is_empty() && known.renumbered.is_empty() {
            return false;
        }
        let sent = row.visit.revision;
        let key = visit_key(&row.visit.visit_id, sent);
        let numbers = [&known.renumbered, &self.brought.renumbered];
        let numbers = numbers
            .into_iter()
            .filter_map(|all| all.get(&key))
            .flatten();
        for number in numbers {
            row.visit.revision = *number;
            let content_sha256 = hash(&row.visit);
            let stored = self.content(known, visit_key(&row.visit.visit_id, *number));
            if stored == Some(half(&content_sha256)) {
                row.content_sha256 = content_sha256;
                row.revision_sent = Some(sent);
                return true;
            }
        }
        row.visit.revision = sent;
        false
    }

    /// The number that its sender gave to what is in effect of a visit, where undos have used up others.
    pub fn sent_in_effect(&self, known: &KnownRecords, visit_id: &str) -> Option<u32> {
        self.used_revisions(known, visit_id).map(|used| used.sent())
    }

    /// Remembers the number of an accepted record, if it is not the one that it was sent under, and where undos have used
    /// up others of its visit.
    pub fn accept(&mut self, known: &KnownRecords, row: &VisitRow) {
        if let Some(sent) = row.revision_sent {
            let key = visit_key(&row.visit.visit_id, sent);
            let numbers = self.brought.renumbered.entry(key).or_default();
            numbers.push(row.visit.revision);
        }
        let used = self.used_revisions(known, &row.visit.visit_id);
        if let Some(mut used) = used.or(row.revision_sent.map(|_| UsedRevisions::default())) {
            let revision = row.visit.revision;
            used.take_in(revision, row.revision_sent.unwrap_or(revision), true);
            let key = visit_key(&row.visit.visit_id, 0);
            self.brought.used.insert(key, used);
        }
    }

    fn used_revisions(&self, known: &KnownRecords, visit_id: &str) -> Option<UsedRevisions> {
        let of_the_run = match self.brought.used.is_empty() {
            true => None,
            false => self.brought.used.get(&visit_key(visit_id, 0)),
        };
        of_the_run
            .or_else(|| known.used_revisions(visit_id))
            .copied()
    }

    fn content(&self, known: &KnownRecords, key: u128) -> Option<u128> {
        let brought = || self.brought.visits.get(&key).copied();
        known.content(key).or_else(brought)
    }

    /// Takes back a decision: the record is new and not accepted all the same.
    pub fn forget(&mut self, row: &VisitRow) {
        self.brought
            .visits
            .swap_remove(&visit_key(&row.visit.visit_id, row.visit.revision));
    }

    /// Whether a held record must be kept: not if an earlier load holds the same bytes.
    pub fn keep(&mut self, known: &KnownRecords, row: &HeldRow) -> bool {
        let record = half(&row.record_sha256);
        let held_before = known.holds(record);
        if !held_before {
            self.brought.held.insert(record);
            self.brought.open.push(self.open_record(row));
        }
        !held_before
    }

    fn open_record(&self, row: &HeldRow) -> OpenRecord {
        let conflicts = row
            .findings
            .iter()
            .any(|finding| finding.code == Code::RevisionConflict);
        let identity = row.visit_id.as_deref().zip(row.revision);
        OpenRecord {
            record_sha256: row.record_sha256,
            submission_sha256: self.submission_sha256.clone(),
            line: row.line,
            sender: row.sender.clone(),
            // The revision of a conflict is taken by another record: its arrival corrects nothing.
            visit: identity
                .filter(|_| !conflicts)
                .map(|(visit_id, revision)| visit_key(visit_id, revision)),
        }
    }

    /// The held records that a sound record closes: the one that it was sent to correct, and, if it is
    /// new, those of its own visit and revision. Nothing is closed twice.
    ///
    /// A duplicate closes only what it names: loading a whole folder again must not close a record
    /// that came in later under the same visit and revision, and may have meant something else.
    pub fn corrected(
        &mut self,
        known: &KnownRecords,
        (row, identity): (&VisitRow, Identity),
        mends: Option<HeldId>,
        now: Timestamp,
    ) -> Vec<ClosingRow> {
        let open = known.open_held();
        let sent = row.revision_sent.unwrap_or(row.visit.revision);
        let key = visit_key(&row.visit.visit_id, sent);
        let named = mends.and_then(|id| open.get(id));
        let same_visit = (identity == Identity::New).then(|| open.of_visit(key));
        let mut closed = Vec::new();
        for record in named.into_iter().chain(same_visit.into_iter().flatten()) {
            if self.brought.closed.insert(record.id()) {
                let ending = Ending::Corrected {
                    visit_id: row.visit.visit_id.clone(),
                    revision: row.visit.revision,
                };
                closed.push(record.closed(ending, now));
            }
        }
        closed
    }

    /// The held record that an attempt to correct it replaces, if the attempt is held in its turn: else
    /// one record would be open twice. To be asked only of a row that is kept.
    pub fn replaced(
        &mut self,
        known: &KnownRecords,
        row: &HeldRow,
        now: Timestamp,
    ) -> Option<ClosingRow> {
        let record = known.open_held().get(row.mends?)?;
        let by = HeldId::new(&row.record_sha256, row.line);
        if !self.brought.closed.insert(record.id()) {
            return None;
        }
        self.brought.replaced.insert(record.id(), by);
        Some(record.closed(Ending::Replaced { by }, now))
    }

    /// Whether a load that was quicker brought any of this attempt's records.
    pub fn meets(&self, newly: &NewlyKnown) -> bool {
        let brought = &self.brought;
        if newly.undone {
            return true;
        }
        let mut visits = newly.visits.iter().chain(&newly.held_visits);
        visits.any(|key| brought.visits.contains_key(key))
            || newly
                .held
                .iter()
                .any(|record| brought.held.contains(record))
            || newly.closed.iter().any(|id| brought.closed.contains(id))
    }

    /// What the attempt brought, for the next submission of the same run.
    pub fn into_brought(self) -> Brought {
        self.brought
    }
}

/// The finding of a conflict; `differences` are the members that differ, where they are known.
pub fn revision_conflict(row: &VisitRow, differences: Option<&str>) -> Finding {
    let (revision, visit_id) = (row.visit.revision, &row.visit.visit_id);
    let differences = differences.map_or(String::new(), |differences| match differences {
        "" => "; no member that the store keeps differs in its value".to_owned(),
        members => format!("{MEMBERS_STORED_AND_SENT}{members}"),
    });
    Finding::new(
        Code::RevisionConflict,
        "/revision",
        format!("revision {revision} of {visit_id} with other content{differences}"),
        "a corrected visit raises its revision; the record that came first is kept. If the mapping of a table was corrected, load the table again with --supersede: what differs then becomes the next revision, unless the visit was edited or withdrawn since, or another sender sent it",
    )
}
