//! The open held records: what could not be accepted, with reasons, until it is closed.
//!
//! How a record is closed is [`crate::rows::closings`]; here it is only passed over.

use arrow::array::RecordBatch;
use serde::{Deserialize, Serialize};

use crate::delta::snapshot::Snapshot;
use crate::delta::tables::Store;
use crate::rows::closings::CLOSINGS_THAT_COUNT;
use crate::rows::decode;
use crate::rows::query_rows::batches;
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
    /// Why it is held.
    pub findings: Vec<Finding>,
    /// SHA-256 of its submission, hexadecimal.
    pub submission_sha256: String,
    #[serde(skip)]
    pub(crate) record_sha256: [u8; 32],
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

/// To whom a held record goes back.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize)]
#[serde(tag = "sender_is", content = "sender", rename_all = "snake_case")]
pub enum Sender {
    /// The scout's pseudonym in the record.
    Observer(String),
    /// The record names no scout: whoever sent this file.
    File(String),
}

impl Sender {
    /// The pseudonym, or the file's name.
    pub fn name(&self) -> &str {
        match self {
            Sender::Observer(name) | Sender::File(name) => name,
        }
    }
}

impl HeldEntry {
    /// To whom it goes back.
    pub fn sender(&self) -> Sender {
        match &self.observer_id {
            Some(observer) => Sender::Observer(observer.clone()),
            None => Sender::File(self.file_name.clone()),
        }
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
pub(crate) async fn entries_of(snapshot: &Snapshot) -> Result<Vec<HeldEntry>, Failure> {
    let mut all = Vec::new();
    for batch in open_batches(snapshot, "").await? {
        all.extend(entries(&batch)?);
    }
    Ok(all)
}

async fn open_batches(snapshot: &Snapshot, more: &str) -> Result<Vec<RecordBatch>, Failure> {
    let query = format!(
        "select h.file_name, h.line, h.visit_id, h.revision, h.observer_id, h.reasons, \
           h.submission_sha256, h.record_sha256{more} \
         from held h inner join receipts r on h.load_id = r.load_id \
         left anti join ({CLOSINGS_THAT_COUNT}) c \
           on h.record_sha256 = c.record_sha256 and h.line = c.line \
         order by r.received_at, h.load_id, h.line"
    );
    batches(snapshot.session(), &query).await
}

/// An entry as the query has it.
#[derive(Deserialize)]
struct EntryRow<'a> {
    file_name: String,
    line: u64,
    visit_id: Option<String>,
    revision: Option<u32>,
    observer_id: Option<String>,
    reasons: &'a str,
    submission_sha256: String,
    record_sha256: &'a [u8],
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
            findings,
            submission_sha256: self.submission_sha256,
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
