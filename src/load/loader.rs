//! Submissions into the store, one after the other: a pass over each, an account of it, and the seal.
//!
//! What a pass does with each record is described in [`super::pass`].

use std::collections::HashMap;
use std::sync::Arc;

use jiff::Timestamp;
use uuid::Uuid;

use super::account::Account;
use super::chunks::Judging;
use super::history::History;
use super::pass::{Pass, Taken, Ways};
use super::provenance::Provenance;
use super::returned::match_up;
use intake::judge::judging::Judge;
use intake::mapping::id_prefixes::{IdPrefixes, SenderPrefixes};
use intake::mapping::{ColumnUse, Mapping};
use intake::read::no_table::as_table;
use intake::read::reader::RecordReader;
use intake::read::sheets::read_sheets;
use intake::read::submitted::SubmittedFile;
use scouting::failure::{Failure, Kind};
use scouting::visit::code::Code;
use scouting::visit::finding::Finding;
use store::delta::append::{Append, Sealed, Written};
use store::delta::tables::Store;
use store::ledger::identity::Ledger;
use store::ledger::known::KnownRecords;
use store::rows::closings::ClosingRow;
use store::rows::receipt::{Receipt, Submission};
use store::rows::written::LoadMark;

/// A load that is overtaken more often than this gives up.
const ATTEMPTS_MAX: usize = 50;

/// Loads submissions into one store, one after the other.
pub struct Loader {
    store: Store,
    judge: Arc<Judge>,
    known: KnownRecords,
    /// What was accepted before; read again where an attempt has failed.
    history: Option<History>,
    held_flags: Vec<Code>,
    mapping: Option<Mapping>,
    /// Who sent what is loaded, where somebody named it.
    sender: Option<String>,
    /// How many of the first records a check shows.
    rows_shown: Option<usize>,
    /// What is put before the ids of each sender.
    prefixes: HashMap<String, IdPrefixes>,
    /// Whether records with other content take the place of those of their visit and revision.
    supersedes: bool,
    workers: usize,
}

impl Loader {
    /// Prepares a run; `workers` records are judged at the same time. A record with a flag whose code
    /// is among `held_flags` is held, others are flagged.
    pub async fn new(
        store: Store,
        judge: Judge,
        held_flags: Vec<Code>,
        workers: usize,
    ) -> Result<Loader, Failure> {
        let known = KnownRecords::read(&store).await?;
        Ok(Loader {
            store,
            judge: Arc::new(judge),
            known,
            history: None,
            held_flags,
            mapping: None,
            sender: None,
            rows_shown: None,
            prefixes: HashMap::new(),
            supersedes: false,
            workers,
        })
    }

    /// Reads what is loaded from now on by a mapping, or by none.
    pub fn use_mapping(&mut self, mapping: Option<Mapping>) {
        self.mapping = mapping;
    }

    /// The loader with the sender of all that is loaded; without one the mapping or the folder of a file names it.
    pub(crate) fn with_sender(mut self, sender: Option<String>) -> Loader {
        self.sender = sender;
        self
    }

    /// The loader, showing the first so many records of each submission that it checks.
    pub(super) fn showing(mut self, rows: Option<usize>) -> Loader {
        self.rows_shown = rows;
        self
    }

    /// The loader with what is put before the ids of each sender.
    pub(super) fn with_prefixes(mut self, prefixes: HashMap<String, IdPrefixes>) -> Loader {
        self.prefixes = prefixes;
        self
    }

    /// The loader, taking records with other content as the next revision of their visits.
    pub(crate) fn superseding(mut self, supersedes: bool) -> Loader {
        self.supersedes = supersedes;
        self
    }

    /// The loader, flagging what differs from earlier visits and holding none of it.
    pub(super) fn holding_no_flag(mut self) -> Loader {
        self.held_flags = Vec::new();
        self
    }

    /// The version of the receipts that its decisions are based on.
    pub(super) fn version(&self) -> Option<u64> {
        self.known.receipts().version()
    }

    /// How many files hold the receipts of the store: one a load, until they are put together.
    pub(crate) fn receipt_files(&self) -> usize {
        let files = self.known.receipts().get_file_uris();
        files.map_or(0, Iterator::count)
    }

    /// Loads a submission: when it returns, the submission is visible and on the disk.
    pub async fn load(&mut self, file: &SubmittedFile, now: Timestamp) -> Result<Account, Failure> {
        let file = &self.as_mapped(file)?;
        let provenance = self.provenance(file);
        for _ in 0..ATTEMPTS_MAX {
            let load_id = Uuid::now_v7().to_string();
            let append = Append::begin(&self.store, mark(file, &load_id)).await?;
            let taken = self.pass(file, &provenance, Some(append), now).await?;
            let mut account = taken.account;
            account.load_id.clone_from(&load_id);
            let receipt = Receipt::new(load_id, account.submission.clone(), account.counts);
            let append = taken.append.expect("a load has tables to write to");
            let written = append.finish(&self.store, receipt).await?;
            if self.seal(&written, taken.ledger).await? {
                self.history = Some(taken.history);
                return Ok(account);
            }
            tracing::info!(file = %file.name, "another load brought some of these records; again");
        }
        Err(Failure::new(
            Kind::Busy,
            format!("cannot load {}: the store stayed busy", file.name),
        )
        .mend("load it again when the other loads have finished; nothing of it was loaded"))
    }

    /// Loads a submission and closes held records, if each of its records is accepted and the store is still as it was
    /// read; `None` if it is not.
    pub(super) async fn load_whole(
        &mut self,
        file: &SubmittedFile,
        provenance: Provenance,
        closings: &[ClosingRow],
        now: Timestamp,
    ) -> Result<Option<Account>, Failure> {
        let load_id = Uuid::now_v7().to_string();
        let append = Append::begin(&self.store, mark(file, &load_id)).await?;
        let taken = self.pass(file, &provenance, Some(append), now).await?;
        let mut account = taken.account;
        let mut append = taken.append.expect("a load has tables to write to");
        if account.counts.accepted != account.counts.received {
            append.abandon().await;
            let held = account.held.first().first();
            let visit_id = held.and_then(|report| report.visit_id.as_deref());
            let finding = held.and_then(|report| report.findings.first());
            return Err(refused(&file.name, visit_id, finding));
        }
        append.write_closings(closings).await?;
        account.counts.closed += closings.len() as u64;
        account.load_id.clone_from(&load_id);
        let receipt = Receipt::new(load_id, account.submission.clone(), account.counts);
        let written = append.finish(&self.store, receipt).await?;
        let sealed = written.seal(self.known.receipts()).await?;
        Ok((sealed == Sealed::Done).then_some(account))
    }

    /// What `load` would say, storing nothing.
    pub async fn check(
        &mut self,
        file: &SubmittedFile,
        now: Timestamp,
    ) -> Result<Account, Failure> {
        let file = &self.as_mapped(file)?;
        let provenance = self.provenance(file);
        let taken = self.pass(file, &provenance, None, now).await?;
        self.history = Some(taken.history);
        self.known.adopt(taken.ledger.into_brought());
        let mut account = taken.account;
        account.columns = self.columns_shown(file)?;
        Ok(account)
    }

    /// What the mapping does with each column of a file, if the first records are shown.
    fn columns_shown(&self, file: &SubmittedFile) -> Result<Vec<ColumnUse>, Failure> {
        match (&self.mapping, self.rows_shown) {
            (Some(mapping), Some(_)) => {
                mapping.column_uses(&read_sheets(file, Some(mapping))?, &file.name)
            }
            _ => Ok(Vec::new()),
        }
    }

    /// Where a file comes from: as named with the command, else as the mapping says, else as the file's folder does.
    fn provenance(&self, file: &SubmittedFile) -> Provenance {
        let by_mapping = || self.mapping.as_ref()?.sender();
        let sender = self.sender.as_deref().or_else(by_mapping);
        let mut provenance = Provenance::of(file);
        if let Some(sender) = sender {
            provenance.origin.sender = Some(sender.to_owned());
        }
        provenance
    }

    /// What is put before the ids of a submission's records.
    fn sender_prefixes(&self, provenance: &Provenance) -> SenderPrefixes {
        if self.prefixes.is_empty() {
            return SenderPrefixes::default();
        }
        let of = |sender: &str| self.prefixes.get(sender).cloned().unwrap_or_default();
        let senders = self.known.open_held().senders();
        SenderPrefixes {
            own: provenance
                .origin
                .sender
                .as_deref()
                .map(of)
                .unwrap_or_default(),
            of_held: senders.map(|(id, sender)| (id, of(sender))).collect(),
        }
    }

    /// The file as it is read: with a mapping, as a table or not at all.
    fn as_mapped(&self, file: &SubmittedFile) -> Result<SubmittedFile, Failure> {
        match &self.mapping {
            Some(_) => as_table(file),
            None => Ok(file.clone()),
        }
    }

    /// The records of a submission; those that come back corrected know which held record they correct.
    async fn open(&self, file: &SubmittedFile) -> Result<RecordReader, Failure> {
        let mut reader = RecordReader::open(file, self.mapping.as_ref())?;
        match_up((&self.store, &self.known), &mut reader, &file.name).await?;
        Ok(reader)
    }

    /// One pass over a submission; one that fails leaves nothing.
    async fn pass(
        &mut self,
        file: &SubmittedFile,
        provenance: &Provenance,
        append: Option<Append>,
        now: Timestamp,
    ) -> Result<Taken, Failure> {
        let reader = self.open(file).await;
        // A file that cannot be opened leaves the history as it is: it takes long to read again.
        let history = match &reader {
            Ok(_) => self.take_history().await?,
            Err(_) => History::default(),
        };
        let not_read = reader.as_ref().map(RecordReader::not_read);
        let not_read = not_read.cloned().unwrap_or_default();
        let prefixes = self.sender_prefixes(provenance);
        let by_mapping = self.mapping.as_ref().map(Mapping::id_prefixes);
        let by_mapping = by_mapping.filter(|prefixes| !prefixes.is_none());
        let put = by_mapping.unwrap_or_else(|| prefixes.own.clone());
        let mut pass = Pass::new(
            (&self.store, &self.known),
            history,
            Ways {
                held_flags: &self.held_flags,
                supersedes: self.supersedes,
            },
            append,
            (file, provenance),
            now,
        )
        .showing(self.rows_shown);
        let taken = match reader {
            Ok(reader) => {
                let judging = Judging {
                    judge: self.judge.clone(),
                    prefixes: Arc::new(prefixes),
                };
                pass.take_all(file, reader, &judging, self.workers).await
            }
            Err(failure) => Err(failure),
        };
        match taken {
            Ok(()) => {
                let mut taken = pass.finish(submission(file, provenance, now), not_read);
                taken.account.id_prefixes = put;
                Ok(taken)
            }
            Err(failure) => {
                pass.abandon().await;
                Err(failure)
            }
        }
    }

    /// The history, to be extended by one attempt; whoever succeeds puts it back.
    async fn take_history(&mut self) -> Result<History, Failure> {
        match self.history.take() {
            Some(history) => Ok(history),
            None => History::read(&self.store).await,
        }
    }

    /// Commits the receipt; `false` if a load that was quicker brought some of the same records, so
    /// that identity must be decided again.
    async fn seal(&mut self, written: &Written, ledger: Ledger) -> Result<bool, Failure> {
        for _ in 0..ATTEMPTS_MAX {
            if written.seal(self.known.receipts()).await? == Sealed::Done {
                let load_id = written.receipt().load_id();
                let brought = ledger.into_brought();
                self.known
                    .adopt_sealed(&self.store, load_id, brought)
                    .await?;
                return Ok(true);
            }
            if ledger.meets(&self.known.look_again(&self.store).await?) {
                return Ok(false);
            }
        }
        Ok(false)
    }
}

fn mark(file: &SubmittedFile, load_id: &str) -> LoadMark {
    LoadMark {
        load_id: load_id.to_owned(),
        submission_sha256: file.sha256.clone(),
        file_name: file.name.clone(),
    }
}

fn submission(file: &SubmittedFile, provenance: &Provenance, now: Timestamp) -> Submission {
    Submission {
        sha256: file.sha256.clone(),
        file_name: file.name.clone(),
        form: file.form_name(),
        bytes: file.bytes,
        received_at: now,
        origin: provenance.origin.clone(),
    }
}

/// The refusal of revisions of which one is not acceptable.
pub(crate) fn refused(name: &str, visit_id: Option<&str>, finding: Option<&Finding>) -> Failure {
    let visit = visit_id.map_or_else(String::new, |visit_id| format!(" of visit {visit_id}"));
    let what = finding.map_or_else(String::new, |finding| format!(": {finding}"));
    Failure::new(
        Kind::Submission,
        format!("cannot load {name}: the revision{visit} would not be accepted{what}"),
    )
    .mend("nothing was changed; correct what it says, or the settings that it rests on")
}
