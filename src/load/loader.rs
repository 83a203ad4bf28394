//! Submissions into the store, one after the other: a pass over each, an account of it, and the seal.
//!
//! What a pass does with each record is described in [`super::pass`].

use std::sync::Arc;

use jiff::Timestamp;
use uuid::Uuid;

use super::account::Account;
use super::history::History;
use super::pass::{Pass, Taken};
use intake::judge::judging::Judge;
use intake::mapping::Mapping;
use intake::read::no_table::as_table;
use intake::read::reader::RecordReader;
use intake::read::submitted::SubmittedFile;
use scouting::failure::{Failure, Kind};
use scouting::visit::code::Code;
use store::delta::append::{Append, Sealed, Written};
use store::delta::tables::Store;
use store::ledger::identity::Ledger;
use store::ledger::known::KnownRecords;
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
            workers,
        })
    }

    /// The loader with a mapping for submissions that are tables.
    pub fn with_mapping(mut self, mapping: Option<Mapping>) -> Loader {
        self.mapping = mapping;
        self
    }

    /// How many files hold the receipts of the store: one a load, until they are put together.
    pub fn receipt_files(&self) -> usize {
        let files = self.known.receipts().get_file_uris();
        files.map_or(0, Iterator::count)
    }

    /// Loads a submission: when it returns, the submission is visible and on the disk.
    pub async fn load(&mut self, file: &SubmittedFile, now: Timestamp) -> Result<Account, Failure> {
        let file = &self.as_mapped(file)?;
        for _ in 0..ATTEMPTS_MAX {
            let load_id = Uuid::now_v7().to_string();
            let append = Append::begin(&self.store, mark(file, &load_id)).await?;
            let taken = self.pass(file, Some(append), now).await?;
            let account = taken.account;
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

    /// What `load` would say, storing nothing.
    pub async fn check(
        &mut self,
        file: &SubmittedFile,
        now: Timestamp,
    ) -> Result<Account, Failure> {
        let file = &self.as_mapped(file)?;
        let taken = self.pass(file, None, now).await?;
        self.history = Some(taken.history);
        self.known.adopt(taken.ledger.into_brought());
        Ok(taken.account)
    }

    /// The file as it is read: with a mapping, as a table or not at all.
    fn as_mapped(&self, file: &SubmittedFile) -> Result<SubmittedFile, Failure> {
        match &self.mapping {
            Some(_) => as_table(file),
            None => Ok(file.clone()),
        }
    }

    /// One pass over a submission; one that fails leaves nothing.
    async fn pass(
        &mut self,
        file: &SubmittedFile,
        append: Option<Append>,
        now: Timestamp,
    ) -> Result<Taken, Failure> {
        let history = self.take_history().await?;
        let reader = RecordReader::open(file, self.mapping.as_ref());
        let not_read = reader.as_ref().map_or(&[][..], RecordReader::not_read);
        let not_read = not_read.to_vec();
        let mut pass = Pass::new(&self.known, history, &self.held_flags, append, file, now);
        let taken = match reader {
            Ok(reader) => pass.take_all(file, reader, &self.judge, self.workers).await,
            Err(failure) => Err(failure),
        };
        match taken {
            Ok(()) => Ok(pass.finish(submission(file, now), not_read)),
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

fn submission(file: &SubmittedFile, now: Timestamp) -> Submission {
    Submission {
        sha256: file.sha256.clone(),
        file_name: file.name.clone(),
        form: file.form_name(),
        bytes: file.bytes,
        received_at: now,
    }
}
