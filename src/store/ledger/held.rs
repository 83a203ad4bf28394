//! The open held records: what could not be accepted, with reasons, until it is closed.
//!
//! How a record is closed is [`crate::rows::closings`]; here it is only passed over.

use std::sync::Arc;

use arrow::array::RecordBatch;
use jiff::Timestamp;
use serde::{Deserialize, Serialize};

use crate::delta::snapshot::Snapshot;
use crate::delta::tables::Store;
use crate::rows::closings::{CLOSINGS_THAT_COUNT, ClosingRow, Ending, LOADS_TAKEN_BACK};
use crate::rows::decode;
use crate::rows::query_rows::{batches, one_row};
use scouting::failure::{Cause, Failure, Kind};
use scouting::visit::finding::Finding;
use scouting::visit::held_id::HeldId;

/// An open held record without the record itself, which may be long.
#[derive(Debug, Clone, Serialize)]
pub struct HeldEntry {
    /// Names it, for correcting and dropping.
    pub held_id: HeldId,
    /// File that it came in.
    pub file_name: String,
    /// Line of that file, or place in its JSON array, from 1.
    pub line: u64,
    /// Identity of the visit, if it could be read.
    pub visit_id: Option<String>,
    /// Revision of the visit, if it could be read.
    pub revision: Option<u32>,
    /// Scout ID, if it could be read.
    pub observer_id: Option<String>,
    /// Who sent the submission, if it is known.
    pub submitted_by: Option<String>,
    /// Why it is held.
    pub findings: Vec<Finding>,
    /// SHA-256 of its submission, hexadecimal.
    pub submission_sha256: String,
    #[serde(skip)]
    pub(crate) record_sha256: [u8; 32],
    /// The load that it came with.
    #[serde(skip)]
    pub load_id: String,
}

/// One open held record.
#[derive(Debug, Clone, Serialize)]
pub struct HeldRecord {
    /// What is known of it.
    #[serde(flatten)]
    pub entry: HeldEntry,
    /// The record as sent, with the bytes that are not UTF-8 shown as `\xNN`.
    pub record: String,
}

impl HeldEntry {
    /// The row that closes it.
    pub fn closed(&self, ending: Ending, closed_at: Timestamp) -> ClosingRow {
        ClosingRow {
            record_sha256: self.record_sha256,
            submission_sha256: Arc::from(self.submission_sha256.as_str()),
            line: self.line,
            ending,
            closed_at,
        }
    }
}

/// To whom a held record goes back.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize)]
#[serde(tag = "sender_is", content = "sender", rename_all = "snake_case")]
pub enum Sender {
    /// Who sent the submission.
    Named(String),
    /// The sender is not known: the scout's pseudonym in the record.
    Observer(String),
    /// Neither is known: whoever sent this file.
    File(String),
}

impl Sender {
    /// The sender if it is known, else the scout, else the file.
    pub(crate) fn of(sender: Option<String>, observer_id: Option<&str>, file_name: &str) -> Sender {
        match (sender, observer_id) {
            (Some(sender), _) => Sender::Named(sender),
            (None, Some(observer)) => Sender::Observer(observer.to_owned()),
            (None, None) => Sender::File(file_name.to_owned()),
        }
    }

    /// The sender's name, the scout's pseudonym, or the file's name.
    pub fn name(&self) -> &str {
        match self {
            Sender::Named(name) | Sender::Observer(name) | Sender::File(name) => name,
        }
    }
}

impl HeldEntry {
    /// To whom it goes back.
    pub fn sender(&self) -> Sender {
        let observer_id = self.observer_id.as_deref();
        Sender::of(self.submitted_by.clone(), observer_id, &self.file_name)
    }
}

/// Every open held record, in the order of arrival.
pub async fn open_records(store: &Store) -> Result<Vec<HeldRecord>, Failure> {
    let snapshot = Snapshot::open(store, 1).await?;
    let mut records = Vec::new();
    for batch in open_batches(&snapshot, ", h.record").await? {
        let entries = entries(&batch)?;
        let rows: Vec<RecordRow<'_>> = decode::rows_among(&batch).map_err(odd)?;
        let with_records = entries.into_iter().zip(rows);
        records.extend(with_records.map(|(entry, row)| HeldRecord {
            entry,
            record: readable(row.record),
        }));
    }
    Ok(records)
}

/// Every open held record in the order of arrival, without the records themselves.
pub async fn open_entries(store: &Store) -> Result<Vec<HeldEntry>, Failure> {
    entries_of(&Snapshot::open(store, 1).await?).await
}

/// The open held records of a snapshot.
pub async fn entries_of(snapshot: &Snapshot) -> Result<Vec<HeldEntry>, Failure> {
    let mut all = Vec::new();
    for batch in open_batches(snapshot, "").await? {
        all.extend(entries(&batch)?);
    }
    Ok(all)
}

async fn open_batches(snapshot: &Snapshot, more: &str) -> Result<Vec<RecordBatch>, Failure> {
    let open = format!(
        "left anti join ({CLOSINGS_THAT_COUNT}) c \
           on h.record_sha256 = c.record_sha256 and h.line = c.line \
         where h.load_id not in ({LOADS_TAKEN_BACK})"
    );
    batches(snapshot.session(), &entries_query(more, &open)).await
}

/// The query of entries and `more` columns; `only` says which, by a join and a condition.
fn entries_query(more: &str, only: &str) -> String {
    format!(
        "select h.file_name, h.line, h.visit_id, h.revision, h.observer_id, h.sender as submitted_by, \
           h.reasons, h.submission_sha256, h.record_sha256, h.load_id{more} \
         from held h inner join receipts r on h.load_id = r.load_id {only} \
         order by r.received_at, h.load_id, h.line"
    )
}

/// The records whose drop counts, in the order of arrival.
pub(crate) async fn dropped_of(snapshot: &Snapshot) -> Result<Vec<HeldEntry>, Failure> {
    let dropped = format!(
        "left semi join (select * from ({CLOSINGS_THAT_COUNT}) where how = 'dropped') c \
           on h.record_sha256 = c.record_sha256 and h.line = c.line \
         where h.load_id not in ({LOADS_TAKEN_BACK})"
    );
    let mut all = Vec::new();
    for batch in batches(snapshot.session(), &entries_query("", &dropped)).await? {
        all.extend(entries(&batch)?);
    }
    Ok(all)
}

/// When the desk last dropped a record or took a drop back; `None` if it never did.
pub(crate) async fn last_decided_at(snapshot: &Snapshot) -> Result<Option<Timestamp>, Failure> {
    #[derive(Deserialize)]
    struct Last {
        closed_at: Option<i64>,
    }
    let query = "select cast(max(closed_at) as bigint) as closed_at from held_closed \
         where how in ('dropped', 'restored')";
    let last: Last = one_row(snapshot.session(), query).await?;
    let moment = last.closed_at.map(Timestamp::from_microsecond);
    Ok(moment.and_then(Result::ok))
}

/// An entry as the query has it.
#[derive(Deserialize)]
struct EntryRow<'a> {
    file_name: String,
    line: u64,
    visit_id: Option<String>,
    revision: Option<u32>,
    observer_id: Option<String>,
    submitted_by: Option<String>,
    reasons: &'a str,
    submission_sha256: String,
    record_sha256: &'a [u8],
    load_id: String,
}

/// The record of an entry, where the query selects it.
#[derive(Deserialize)]
struct RecordRow<'a> {
    record: &'a [u8],
}

fn entries(batch: &RecordBatch) -> Result<Vec<HeldEntry>, Failure> {
    let rows: Vec<EntryRow<'_>> = decode::rows_among(batch).map_err(odd)?;
    rows.into_iter().map(EntryRow::read).collect()
}

impl EntryRow<'_> {
    fn read(self) -> Result<HeldEntry, Failure> {
        let findings = serde_json::from_str(self.reasons).map_err(|error| {
            damaged(&format!("cannot read its reasons: {error}")).caused_by(error)
        })?;
        let record_sha256: [u8; 32] =
            (self.record_sha256.try_into()).map_err(|_| damaged("its SHA-256 has not 32 bytes"))?;
        Ok(HeldEntry {
            held_id: HeldId::new(&record_sha256, self.line),
            file_name: self.file_name,
            line: self.line,
            visit_id: self.visit_id,
            revision: self.revision,
            observer_id: self.observer_id,
            submitted_by: self.submitted_by,
            findings,
            submission_sha256: self.submission_sha256,
            load_id: self.load_id,
            record_sha256,
        })
    }
}

fn damaged(what: &str) -> Failure {
    Failure::new(Kind::Damaged, format!("a held record is damaged: {what}"))
        .mend("`bractline store verify` says more")
}

fn odd(error: impl Into<Cause>) -> Failure {
    Failure::because(Kind::Store, "cannot read the held records", error)
}

/// Text as it is; bytes that are not UTF-8 as `\xNN`.
fn readable(bytes: &[u8]) -> String {
    bytes
        .utf8_chunks()
        .flat_map(|chunk| {
            let broken: String = chunk
                .invalid()
                .iter()
                .map(|byte| format!("\\x{byte:02x}"))
                .collect();
            [chunk.valid().to_owned(), broken]
        })
        .collect()
}
