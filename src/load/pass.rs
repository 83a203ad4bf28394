//! One pass over a submission: every record comes out as accepted, duplicate or held.
//!
//! It reads and judges chunks side by side, and writes as it goes; what the pass came to counts only
//! when [`super::loader`] seals it.

use std::collections::{BTreeMap, HashMap};
use std::sync::Arc;

use futures::{StreamExt, TryStreamExt, stream};
use jiff::Timestamp;
use sha2::{Digest, Sha256};

use super::account::Account;
use super::chunks::{Judging, chunks, judged};
use super::history::History;
use super::preview::Preview;
use super::provenance::Provenance;
use super::reports::{RecordReport, RecordReports};
use intake::judge::judging::{Judged, content_sha256, held, named};
use intake::mapping::id_prefixes::IdPrefixes;
use intake::read::limits::HELD_MAX;
use intake::read::not_read::NotRead;
use intake::read::raw_record::RawRecord;
use intake::read::reader::RecordReader;
use intake::read::submitted::SubmittedFile;
use scouting::failure::{Failure, Kind};
use scouting::visit::code::Code;
use scouting::visit::finding::Finding;
use scouting::visit::held_id::HeldId;
use scouting::visit::rows::{HeldRow, VisitRow};
use scouting::visit::rules::doubts;
use scouting::visit::rules::identity_doubts::supersedes_revision;
use store::delta::append::Append;
use store::delta::tables::Store;
use store::ledger::differences::{Difference, differences, differences_from};
use store::ledger::identity::{Identity, Ledger, revision_conflict};
use store::ledger::known::KnownRecords;
use store::rows::closings::ClosingRow;
use store::rows::receipt::{Counts, Submission};

/// Rows are written in batches of about this many visits.
const BATCH_VISITS: usize = 4_096;
/// Held records are written when they fill about this much memory.
const BATCH_HELD_BYTES: usize = 8 << 20;
/// What a held row and each of its findings take in memory, about.
const HELD_ROW_BYTES: usize = 300;
/// Held records that are shown of a submission that is refused for their number.
const FIRST_TOLD: usize = 3;

/// Members that differ from what the store has, by the line of the record.
type Differing = HashMap<u64, Difference>;

/// How a pass takes records.
#[derive(Clone, Copy)]
pub(super) struct Ways<'a> {
    /// Flags that hold a record.
    pub(super) held_flags: &'a [Code],
    /// Whether a record with other content takes the place of the one of its visit and revision.
    pub(super) supersedes: bool,
}

/// One pass over a submission.
pub(super) struct Pass<'a> {
    name: String,
    provenance: &'a Provenance,
    store: &'a Store,
    known: &'a KnownRecords,
    history: History,
    ways: Ways<'a>,
    append: Option<Append>,
    ledger: Ledger,
    counts: Counts,
    held: RecordReports,
    flagged: RecordReports,
    flags: BTreeMap<Code, u64>,
    visit_rows: Vec<VisitRow>,
    held_rows: Vec<HeldRow>,
    held_bytes: usize,
    closings: Vec<ClosingRow>,
    preview: Option<Preview>,
    now: Timestamp,
}

/// What a pass came to.
pub(super) struct Taken {
    pub(super) account: Account,
    pub(super) ledger: Ledger,
    pub(super) history: History,
    /// The tables written to; a pass that stores nothing has none.
    pub(super) append: Option<Append>,
}

impl<'a> Pass<'a> {
    /// A pass that writes to the tables of `append`, or nowhere.
    pub(super) fn new(
        (store, known): (&'a Store, &'a KnownRecords),
        history: History,
        ways: Ways<'a>,
        append: Option<Append>,
        (file, provenance): (&SubmittedFile, &'a Provenance),
        now: Timestamp,
    ) -> Pass<'a> {
        Pass {
            name: file.name.clone(),
            provenance,
            store,
            known,
            history,
            ways,
            append,
            ledger: Ledger::new(&file.sha256),
            counts: Counts::default(),
            held: RecordReports::default(),
            flagged: RecordReports::default(),
            flags: BTreeMap::new(),
            visit_rows: Vec::new(),
            held_rows: Vec::new(),
            held_bytes: 0,
            closings: Vec::new(),
            preview: None,
            now,
        }
    }

    /// The pass, showing its first so many records.
    pub(super) fn showing(mut self, rows: Option<usize>) -> Pass<'a> {
        self.preview = rows.map(|rows| Preview::of(rows, &self.name));
        self
    }

    /// Reads and judges chunks side by side, takes them in the order of the submission.
    pub(super) async fn take_all(
        &mut self,
        file: &SubmittedFile,
        reader: RecordReader,
        judging: &Judging,
        workers: usize,
    ) -> Result<(), Failure> {
        let mut judged = stream::unfold(chunks(reader), |mut chunks| async {
            chunks.recv().await.map(|chunk| (chunk, chunks))
        })
        .map_ok(|chunk| judged(judging, chunk))
        .try_buffered(workers)
        .boxed();
        while let Some((records, waiting)) = judged.try_next().await? {
            let differing = self.differing(&records).await?;
            for record in records {
                self.take(record, &differing)?;
            }
            if self.visit_rows.len() >= BATCH_VISITS || self.held_bytes >= BATCH_HELD_BYTES {
                self.write().await?;
            }
            drop(waiting);
        }
        file.check_unchanged()?;
        self.held.end()?;
        self.flagged.end()?;
        self.write().await
    }

    /// Every record comes out of here as accepted, duplicate or held.
    fn take(&mut self, record: Judged, differing: &Differing) -> Result<(), Failure> {
        self.counts.received += 1;
        match record {
            Judged::Unsound(row) => return self.hold(*row),
            Judged::Sound(mut row, raw) => {
                self.ledger.number(self.known, &mut row, content_sha256);
                match self.ledger.decide(self.known, &row) {
                    Identity::New => return self.doubt(*row, &raw),
                    Identity::Duplicate => {
                        self.show(&row, "duplicate");
                        self.mend(&row, Identity::Duplicate, raw.mends);
                        self.counts.duplicate += 1;
                    }
                    Identity::Conflict => {
                        let difference = differing.get(&row.line);
                        if let Some(next) = self.superseding(&row, difference) {
                            return self.doubt(next, &raw);
                        }
                        let members = match difference {
                            Some(stored) => Some(stored.members.clone()),
                            None => self.differing_in_the_run(&row),
                        };
                        return self.hold(conflicting(&row, &raw, members.as_deref()));
                    }
                }
            }
        }
        Ok(())
    }

    /// The next revision of a visit, with the content of a record that takes the place of one of its own number; `None`
    /// if it may not. A visit that was edited since, withdrawn, or sent by somebody else keeps what it has.
    fn superseding(&mut self, row: &VisitRow, difference: Option<&Difference>) -> Option<VisitRow> {
        let highest = difference
            .filter(|_| self.ways.supersedes)?
            .highest
            .as_ref()?;
        let visit = &row.visit;
        let in_effect = self.ledger.sent_in_effect(self.known, &visit.visit_id);
        let sender = self.sender(None, Some(&visit.visit_id));
        let of_another = (highest.sender.as_deref().zip(sender.as_deref()))
            .is_some_and(|(stored, sent)| stored != sent);
        if highest.is_withdrawn || of_another || visit.revision < in_effect.unwrap_or(highest.sent)
        {
            return None;
        }
        let mut next = row.clone();
        next.visit.revision = highest.revision + 1;
        next.revision_sent = Some(row.revision_sent.unwrap_or(visit.revision));
        next.content_sha256 = content_sha256(&next.visit);
        next.doubts.push(supersedes_revision(
            &next.visit,
            highest.revision,
            &highest.members,
        ));
        (self.ledger.decide(self.known, &next) == Identity::New).then_some(next)
    }

    /// What differs in each record whose visit and revision the store has with other content.
    async fn differing(&self, records: &[Judged]) -> Result<Differing, Failure> {
        let sound = records.iter().filter_map(|record| match record {
            Judged::Sound(row, _) => Some(&**row),
            Judged::Unsound(_) => None,
        });
        let conflicts: Vec<&VisitRow> = sound
            .filter(|row| self.known.has_other_content(row))
            .collect();
        differences(self.store, &conflicts).await
    }

    /// What differs from a record of the same submission that waits to be written.
    fn differing_in_the_run(&self, row: &VisitRow) -> Option<String> {
        let same = |before: &&VisitRow| {
            (&before.visit.visit_id, before.visit.revision)
                == (&row.visit.visit_id, row.visit.revision)
        };
        let before = self.visit_rows.iter().find(same)?;
        Some(differences_from(before, row))
    }

    /// Closes the held records that a sound record corrects.
    fn mend(&mut self, row: &VisitRow, identity: Identity, corrects: Option<HeldId>) {
        let corrected = self
            .ledger
            .corrected(self.known, (row, identity), corrects, self.now);
        self.close(corrected);
    }

    /// Who sent a record: who sent the one that it corrects, else who sent the submission.
    fn sender(&self, mends: Option<HeldId>, visit_id: Option<&str>) -> Option<Arc<str>> {
        let of_original = mends.and_then(|id| self.known.open_held().sender(id));
        (of_original.cloned()).or_else(|| self.provenance.sender(visit_id))
    }

    fn close(&mut self, closings: impl IntoIterator<Item = ClosingRow>) {
        for closing in closings {
            self.counts.closed += 1;
            if self.append.is_some() {
                self.closings.push(closing);
            }
        }
    }

    /// A new record is compared with what was accepted before it; what differs flags or holds it.
    fn doubt(&mut self, mut row: VisitRow, raw: &RawRecord) -> Result<(), Failure> {
        row.sender = self.sender(raw.mends, Some(&row.visit.visit_id));
        row.doubts.extend(self.history.doubts(&row));
        let is_held = |doubt: &&Finding| self.ways.held_flags.contains(&doubt.code);
        let reasons: Vec<Finding> = row.doubts.iter().filter(is_held).cloned().collect();
        if !reasons.is_empty() {
            self.ledger.forget(&row);
            return self.hold(held(raw, named(reasons, &row.visit)));
        }
        // The file came before without --supersede: what was held of it then is accepted now.
        let supersedes = |doubt: &Finding| doubt.code == Code::SupersedesRevision;
        let held_before = row.doubts.iter().any(supersedes).then(|| held_id(raw));
        self.mend(&row, Identity::New, raw.mends.or(held_before));
        if !row.doubts.is_empty() {
            row.flags.extend(doubts::codes_of(&row.doubts));
            self.flagged.add(RecordReport {
                line: row.line,
                visit_id: Some(row.visit.visit_id.clone()),
                findings: std::mem::take(&mut row.doubts),
            })?;
        }
        if raw
            .mends
            .is_some_and(|id| !self.known.open_held().has_known(id))
        {
            row.flags.push(Code::HeldIdUnknown);
        }
        self.history.add(&row);
        self.ledger.accept(self.known, &row);
        self.accept(row);
        Ok(())
    }

    fn show(&mut self, row: &VisitRow, becomes: &'static str) {
        if let Some(preview) = &mut self.preview {
            preview.add_visit(row, becomes);
        }
    }

    fn accept(&mut self, row: VisitRow) {
        self.show(&row, "accepted");
        self.counts.accepted += 1;
        self.counts.units += u64::from(row.statistics.units);
        self.counts.flagged += u64::from(!row.flags.is_empty());
        for flag in &row.flags {
            *self.flags.entry(*flag).or_default() += 1;
        }
        if self.append.is_some() {
            self.visit_rows.push(row);
        }
    }

    fn hold(&mut self, mut row: HeldRow) -> Result<(), Failure> {
        row.sender = self.sender(row.mends, row.visit_id.as_deref());
        self.counts.held += 1;
        if let Some(preview) = &mut self.preview {
            preview.add_held(&row);
        }
        self.refuse_if_mostly_held(&row)?;
        self.held.add(RecordReport {
            line: row.line,
            visit_id: row.visit_id.clone(),
            findings: row.findings.clone(),
        })?;
        if !self.ledger.keep(self.known, &row) {
            self.counts.held_before += 1;
            return Ok(());
        }
        let replaced = self.ledger.replaced(self.known, &row, self.now);
        self.close(replaced);
        if self.append.is_some() {
            // Reasons can outweigh the record; a short record weighs as much as its row.
            self.held_bytes += row.record.len() + HELD_ROW_BYTES * (1 + row.findings.len());
            self.held_rows.push(row);
        }
        Ok(())
    }

    /// A submission of which more is held than taken, and more than anybody corrects, is no submission: refused whole.
    fn refuse_if_mostly_held(&self, last: &HeldRow) -> Result<(), Failure> {
        let Counts { received, held, .. } = self.counts;
        if held <= HELD_MAX || held * 2 <= received {
            return Ok(());
        }
        let firsts = self.held.first().iter().take(FIRST_TOLD);
        let firsts = firsts.flat_map(|report| {
            let first = report.findings.first();
            first.map(|finding| format!("line {}: {finding}", report.line))
        });
        let first_lines: Vec<String> = firsts.collect();
        Err(Failure::new(
            Kind::Submission,
            format!(
                "cannot load {}: {held} of its first {received} records would be held, more than the limit of {HELD_MAX} for a submission whose records are mostly held; nothing of it was loaded",
                self.name
            ),
        )
        .at(format!("{}; and so on to line {}", first_lines.join("; "), last.line))
        .mend("is it a file of visit records? correct what the first lines name, in all of them, and load it again"))
    }

    async fn write(&mut self) -> Result<(), Failure> {
        if let Some(append) = &mut self.append {
            append
                .write_visits(std::mem::take(&mut self.visit_rows))
                .await?;
            append.write_held(&self.held_rows).await?;
            append.write_closings(&self.closings).await?;
        }
        self.held_rows.clear();
        self.closings.clear();
        self.held_bytes = 0;
        Ok(())
    }

    /// What the pass came to, if `take_all` ended well.
    pub(super) fn finish(self, submission: Submission, not_read: NotRead) -> Taken {
        Taken {
            account: Account {
                load_id: String::new(),
                submission,
                not_read,
                id_prefixes: IdPrefixes::default(),
                counts: self.counts,
                held: self.held,
                flagged: self.flagged,
                flags: self.flags,
                preview: self.preview,
                columns: Vec::new(),
            },
            ledger: self.ledger,
            history: self.history,
            append: self.append,
        }
    }

    /// Gives up what was written.
    pub(super) async fn abandon(self) {
        if let Some(append) = self.append {
            append.abandon().await;
        }
    }
}

/// The id that a record has if it is held.
fn held_id(raw: &RawRecord) -> HeldId {
    HeldId::new(&Sha256::digest(raw.kept()).into(), raw.line)
}

fn conflicting(row: &VisitRow, raw: &RawRecord, differences: Option<&str>) -> HeldRow {
    let conflict = revision_conflict(row, differences);
    held(raw, named(vec![conflict], &row.visit))
}
