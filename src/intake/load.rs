//! The steps of a submission: read, judge, decide, write, account, seal.

use std::collections::BTreeMap;
use std::sync::Arc;

use futures::{StreamExt, TryStreamExt, stream};
use jiff::Timestamp;
use tokio::sync::{OwnedSemaphorePermit, Semaphore, mpsc};
use tokio::task::spawn_blocking;
use uuid::Uuid;

use super::formats::SubmittedFile;
use super::history::History;
use super::identity::{HELD_ID_UNKNOWN, Identity, Ledger, revision_conflict};
use super::judge::{Judge, Judged, held, named};
use super::mapping::Mapping;
use super::reader::{RawRecord, RecordReader};
use super::reports::{RecordReport, RecordReports};
use crate::failure::{Failure, Kind};
use crate::store::append::{Append, Sealed, Written};
use crate::store::closings::ClosingRow;
use crate::store::known::KnownRecords;
use crate::store::receipt::{Counts, Receipt, Submission};
use crate::store::rows::{HeldRow, LoadMark, VisitRow};
use crate::store::tables::Store;
use crate::visit::doubts;
use crate::visit::finding::Finding;

/// Rows are written in batches of about this many visits.
const BATCH_VISITS: usize = 4_096;
/// Held records are written when they fill about this much memory.
const BATCH_HELD_BYTES: usize = 8 << 20;
/// What a held row and each of its findings take in memory, about.
const HELD_ROW_BYTES: usize = 300;
/// Bytes of a submission that may wait between reading and writing. A longer record goes alone.
const WAITING_BYTES_MAX: usize = 32 << 20;
/// A load that is overtaken more often than this gives up.
const ATTEMPTS_MAX: usize = 50;

/// What became of one submission.
#[derive(Debug)]
pub struct Account {
    /// What was handed in.
    pub submission: Submission,
    /// How many records went where.
    pub counts: Counts,
    /// Every held record with its reasons.
    pub held: RecordReports,
    /// Every accepted record with a doubt in a sentence, `visit::doubts`.
    pub doubts: RecordReports,
    /// How many accepted records bear each flag.
    pub flags: BTreeMap<&'static str, u64>,
}

/// Loads submissions into one store, one after the other.
pub struct Loader {
    store: Store,
    judge: Arc<Judge>,
    known: KnownRecords,
    /// What was accepted before; read again where an attempt has come to nothing.
    history: Option<History>,
    held_doubts: Vec<String>,
    mapping: Option<Mapping>,
    workers: usize,
}

impl Loader {
    /// Prepares a run; `workers` records are judged at the same time. A record with a doubt whose code
    /// is among `held_doubts` is held, others are flagged.
    pub async fn new(
        store: Store,
        judge: Judge,
        held_doubts: Vec<String>,
        workers: usize,
    ) -> Result<Loader, Failure> {
        let known = KnownRecords::read(&store).await?;
        Ok(Loader {
            store,
            judge: Arc::new(judge),
            known,
            history: None,
            held_doubts,
            mapping: None,
            workers,
        })
    }

    /// The loader with a mapping for submissions that are tables.
    pub fn with_mapping(mut self, mapping: Option<Mapping>) -> Loader {
        self.mapping = mapping;
        self
    }

    /// Loads a submission: when it returns, the submission is visible and on the disk.
    pub async fn load(&mut self, file: &SubmittedFile, now: Timestamp) -> Result<Account, Failure> {
        for _ in 0..ATTEMPTS_MAX {
            let load_id = Uuid::now_v7().to_string();
            let append = Append::begin(&self.store, mark(file, &load_id)).await?;
            let history = self.take_history().await?;
            let mut intake = Intake::new(
                &self.known,
                history,
                &self.held_doubts,
                Some(append),
                file,
                now,
            );
            if let Err(failure) = intake
                .take_all(file, self.reader(file)?, &self.judge, self.workers)
                .await
            {
                intake.abandon().await;
                return Err(failure);
            }
            let Taken {
                counts,
                held,
                doubts,
                flags,
                ledger,
                history,
                append,
            } = intake.finish();
            let submission = submission(file, now);
            let receipt = Receipt::new(load_id, submission.clone(), counts);
            let append = append.expect("a load has tables to write to");
            let written = append.finish(&self.store, receipt).await?;
            if self.seal(&written, ledger).await? {
                self.history = Some(history);
                return Ok(Account {
                    submission,
                    counts,
                    held,
                    doubts,
                    flags,
                });
            }
            tracing::info!(file = %file.name, "another load brought some of these records; again");
        }
        Err(Failure::new(
            Kind::Busy,
            format!("cannot load {}: the store stayed busy", file.name),
        )
        .mend("load it again when the other loads are through; nothing of it counts yet"))
    }

    /// What `load` would say, storing nothing.
    pub async fn check(
        &mut self,
        file: &SubmittedFile,
        now: Timestamp,
    ) -> Result<Account, Failure> {
        let history = self.take_history().await?;
        let mut intake = Intake::new(&self.known, history, &self.held_doubts, None, file, now);
        intake
            .take_all(file, self.reader(file)?, &self.judge, self.workers)
            .await?;
        let Taken {
            counts,
            held,
            doubts,
            flags,
            ledger,
            history,
            ..
        } = intake.finish();
        self.history = Some(history);
        self.known.adopt(None, ledger.into_brought());
        Ok(Account {
            submission: submission(file, now),
            counts,
            held,
            doubts,
            flags,
        })
    }

    /// The history, to be extended by one attempt; whoever succeeds puts it back.
    async fn take_history(&mut self) -> Result<History, Failure> {
        match self.history.take() {
            Some(history) => Ok(history),
            None => History::read(&self.store).await,
        }
    }

    fn reader(&self, file: &SubmittedFile) -> Result<RecordReader, Failure> {
        RecordReader::open(file, self.mapping.as_ref())
    }

    /// Commits the receipt; `false` if a load that was quicker brought some of the same records, so
    /// that identity must be decided again.
    async fn seal(&mut self, written: &Written, ledger: Ledger) -> Result<bool, Failure> {
        for _ in 0..ATTEMPTS_MAX {
            if written.seal(self.known.receipts()).await? == Sealed::Done {
                self.known
                    .adopt(Some(written.receipt().load_id()), ledger.into_brought());
                self.known.look_again(&self.store).await?;
                return Ok(true);
            }
            if ledger.meets(&self.known.look_again(&self.store).await?) {
                return Ok(false);
            }
        }
        Ok(false)
    }
}

/// One pass over a submission.
struct Intake<'a> {
    known: &'a KnownRecords,
    history: History,
    held_doubts: &'a [String],
    append: Option<Append>,
    ledger: Ledger,
    counts: Counts,
    held: RecordReports,
    doubts: RecordReports,
    flags: BTreeMap<&'static str, u64>,
    visit_rows: Vec<VisitRow>,
    held_rows: Vec<HeldRow>,
    held_bytes: usize,
    closings: Vec<ClosingRow>,
    now: Timestamp,
}

/// What a pass came to.
struct Taken {
    counts: Counts,
    held: RecordReports,
    doubts: RecordReports,
    flags: BTreeMap<&'static str, u64>,
    ledger: Ledger,
    history: History,
    append: Option<Append>,
}

impl<'a> Intake<'a> {
    fn new(
        known: &'a KnownRecords,
        history: History,
        held_doubts: &'a [String],
        append: Option<Append>,
        file: &SubmittedFile,
        now: Timestamp,
    ) -> Intake<'a> {
        Intake {
            known,
            history,
            held_doubts,
            append,
            ledger: Ledger::new(&file.sha256),
            counts: Counts::default(),
            held: RecordReports::default(),
            doubts: RecordReports::default(),
            flags: BTreeMap::new(),
            visit_rows: Vec::new(),
            held_rows: Vec::new(),
            held_bytes: 0,
            closings: Vec::new(),
            now,
        }
    }

    /// Reads and judges chunks side by side, takes them in the order of the submission.
    async fn take_all(
        &mut self,
        file: &SubmittedFile,
        reader: RecordReader,
        judge: &Arc<Judge>,
        workers: usize,
    ) -> Result<(), Failure> {
        let mut judged = stream::unfold(chunks(reader), |mut chunks| async {
            chunks.recv().await.map(|chunk| (chunk, chunks))
        })
        .map_ok(|chunk| judged(judge.clone(), chunk))
        .try_buffered(workers)
        .boxed();
        while let Some((records, waiting)) = judged.try_next().await? {
            for record in records {
                self.take(record)?;
            }
            if self.visit_rows.len() >= BATCH_VISITS || self.held_bytes >= BATCH_HELD_BYTES {
                self.write().await?;
            }
            drop(waiting);
        }
        file.check_unchanged()?;
        self.held.end()?;
        self.doubts.end()?;
        self.write().await
    }

    /// Every record comes out of here as accepted, duplicate or held.
    fn take(&mut self, record: Judged) -> Result<(), Failure> {
        self.counts.received += 1;
        match record {
            Judged::Unsound(row) => return self.hold(*row),
            Judged::Sound(row, raw) => match self.ledger.decide(self.known, &row) {
                Identity::New => return self.doubt(*row, &raw),
                Identity::Duplicate => {
                    self.mend(&row, Identity::Duplicate, &raw);
                    self.counts.duplicate += 1;
                }
                Identity::Conflict => return self.hold(conflicting(&row, &raw)),
            },
        }
        Ok(())
    }

    /// Closes the held records that a sound record mends.
    fn mend(&mut self, row: &VisitRow, identity: Identity, raw: &RawRecord) {
        let mended = self
            .ledger
            .mended(self.known, (row, identity), raw.mends, self.now);
        self.close(mended);
    }

    fn close(&mut self, closings: impl IntoIterator<Item = ClosingRow>) {
        for closing in closings {
            self.counts.closed += 1;
            if self.append.is_some() {
                self.closings.push(closing);
            }
        }
    }

    /// A new record is compared with what was accepted before it; doubts flag or hold it.
    fn doubt(&mut self, mut row: VisitRow, raw: &RawRecord) -> Result<(), Failure> {
        row.doubts.extend(self.history.doubts(&row));
        let is_held = |doubt: &&Finding| self.held_doubts.contains(&doubt.code);
        let reasons: Vec<Finding> = row.doubts.iter().filter(is_held).cloned().collect();
        if !reasons.is_empty() {
            self.ledger.forget(&row);
            return self.hold(held(raw, named(reasons, &row.visit)));
        }
        self.mend(&row, Identity::New, raw);
        if !row.doubts.is_empty() {
            row.flags.extend(doubts::codes_of(&row.doubts));
            self.doubts.add(RecordReport {
                line: row.line,
                visit_id: Some(row.visit.visit_id.clone()),
                findings: std::mem::take(&mut row.doubts),
            })?;
        }
        if raw
            .mends
            .is_some_and(|id| !self.known.open_held().has_known(id))
        {
            row.flags.push(HELD_ID_UNKNOWN);
        }
        self.history.add(&row);
        self.accept(row);
        Ok(())
    }

    fn accept(&mut self, row: VisitRow) {
        self.counts.accepted += 1;
        self.counts.units += u64::from(row.statistics.units);
        self.counts.flagged += u64::from(!row.flags.is_empty());
        for flag in &row.flags {
            *self.flags.entry(flag).or_default() += 1;
        }
        if self.append.is_some() {
            self.visit_rows.push(row);
        }
    }

    fn hold(&mut self, row: HeldRow) -> Result<(), Failure> {
        self.counts.held += 1;
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

    fn finish(self) -> Taken {
        let Intake {
            counts,
            held,
            doubts,
            flags,
            ledger,
            history,
            append,
            ..
        } = self;
        Taken {
            counts,
            held,
            doubts,
            flags,
            ledger,
            history,
            append,
        }
    }

    async fn abandon(self) {
        if let Some(append) = self.append {
            append.abandon().await;
        }
    }
}

/// Records that were read, and their share of what may wait at a time.
struct Chunk {
    records: Vec<RawRecord>,
    waiting: OwnedSemaphorePermit,
}

/// Chunks of records, read on a thread of their own; a few wait at the most.
fn chunks(reader: RecordReader) -> mpsc::Receiver<Result<Chunk, Failure>> {
    let (sender, receiver) = mpsc::channel(2);
    let room = Arc::new(Semaphore::new(WAITING_BYTES_MAX));
    let runtime = tokio::runtime::Handle::current();
    spawn_blocking(move || {
        for records in reader {
            let chunk = records.map(|records| {
                let bytes: usize = records.iter().map(|record| record.bytes.len()).sum();
                let share = bytes.min(WAITING_BYTES_MAX) as u32;
                let waiting = runtime
                    .block_on(room.clone().acquire_many_owned(share))
                    .expect("the room is never closed");
                Chunk { records, waiting }
            });
            // The receiver is gone when the load has failed: nothing is left to read for.
            if sender.blocking_send(chunk).is_err() {
                break;
            }
        }
    });
    receiver
}

async fn judged(
    judge: Arc<Judge>,
    chunk: Chunk,
) -> Result<(Vec<Judged>, OwnedSemaphorePermit), Failure> {
    let Chunk { records, waiting } = chunk;
    let judging = spawn_blocking(move || {
        records
            .into_iter()
            .map(|record| judge.judge(record))
            .collect()
    });
    let judged = judging.await.map_err(|error| {
        Failure::new(
            Kind::Submission,
            format!("a record could not be judged: {error}"),
        )
        .mend("please report it, with the file; nothing of it was loaded")
    })?;
    Ok((judged, waiting))
}

fn conflicting(row: &VisitRow, raw: &RawRecord) -> HeldRow {
    held(raw, named(vec![revision_conflict(row)], &row.visit))
}

fn mark(file: &SubmittedFile, load_id: &str) -> LoadMark {
    LoadMark {
        load_id: load_id.to_owned(),
        submission_sha256: file.sha256.clone(),
        file_name: file.name.clone(),
    }
}

fn submission(file: &SubmittedFile, now: Timestamp) -> Submission {
    Submission {
        sha256: file.sha256.clone(),
        file_name: file.name.clone(),
        form: file.form_name(),
        bytes: file.bytes,
        received_at: now,
    }
}
