//! The open held records: what could not be accepted, with reasons, until it is closed.
//!
//! How a record is closed is [`super::closings`]; here it is only passed over.

use arrow::array::{Array, AsArray, RecordBatch};
use arrow::compute::cast;
use arrow::datatypes::{DataType, Int32Type, Int64Type};
use serde::Serialize;

use super::closings::CLOSINGS_THAT_COUNT;
use super::snapshot::{Snapshot, unreadable};
use super::tables::Store;
use crate::failure::{Failure, Kind};
use crate::visit::finding::Finding;
use crate::visit::held_id::HeldId;

/// An open held record without the record itself, which may be long.
#[derive(Debug, Clone, Serialize)]
pub struct HeldEntry {
    /// Names it, for mending and dropping.
    pub held_id: HeldId,
    /// File that it came in.
    pub file_name: String,
    /// Line of that file, or place in its JSON array, from 1.
    pub line: u64,
    /// Identity of the visit, if it could be read.
    pub visit_id: Option<String>,
    /// Revision of the visit, if it could be read.
    pub revision: Option<u32>,
    /// Pseudonym of the scout, if it could be read.
    pub observer_id: Option<String>,
    /// Why it is held.
    pub findings: Vec<Finding>,
    /// SHA-256 of its submission, hexadecimal.
    pub submission_sha256: String,
    #[serde(skip)]
    pub(super) record_sha256: [u8; 32],
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
        let raw = cast(batch.column(RECORD), &DataType::Binary).map_err(|error| odd(&error))?;
        let raw = raw.as_binary::<i32>();
        let entries = entries(&batch)?.into_iter().enumerate();
        records.extend(entries.map(|(row, entry)| HeldRecord {
            entry,
            record: readable(raw.value(row)),
        }));
    }
    Ok(records)
}

/// Every open held record in the order of arrival, without the records themselves.
pub async fn open_entries(store: &Store) -> Result<Vec<HeldEntry>, Failure> {
    entries_of(&Snapshot::open(store, 1).await?).await
}

/// The open held records of a snapshot.
pub(super) async fn entries_of(snapshot: &Snapshot) -> Result<Vec<HeldEntry>, Failure> {
    let mut all = Vec::new();
    for batch in open_batches(snapshot, "").await? {
        all.extend(entries(&batch)?);
    }
    Ok(all)
}

/// Place of the record among the columns that [`open_batches`] selects.
const RECORD: usize = 8;

async fn open_batches(snapshot: &Snapshot, more: &str) -> Result<Vec<RecordBatch>, Failure> {
    let query = format!(
        "select h.file_name, h.line, h.visit_id, h.revision, h.observer_id, h.reasons, \
           h.submission_sha256, h.record_sha256{more} \
         from held h inner join receipts r on h.load_id = r.load_id \
         left anti join ({CLOSINGS_THAT_COUNT}) c \
           on h.record_sha256 = c.record_sha256 and h.line = c.line \
         order by r.received_at, h.load_id, h.line"
    );
    let plan = snapshot
        .session()
        .sql(&query)
        .await
        .map_err(|error| unreadable(&error))?;
    plan.collect().await.map_err(|error| unreadable(&error))
}

fn entries(batch: &RecordBatch) -> Result<Vec<HeldEntry>, Failure> {
    let column = |place: usize, as_type: &DataType| {
        cast(batch.column(place), as_type).map_err(|error| odd(&error))
    };
    let names = column(0, &DataType::Utf8)?;
    let lines = column(1, &DataType::Int64)?;
    let visits = column(2, &DataType::Utf8)?;
    let revisions = column(3, &DataType::Int32)?;
    let observers = column(4, &DataType::Utf8)?;
    let reasons = column(5, &DataType::Utf8)?;
    let submissions = column(6, &DataType::Utf8)?;
    let hashes = column(7, &DataType::Binary)?;
    let text = |array: &dyn Array, row: usize| {
        let array = array.as_string::<i32>();
        array.is_valid(row).then(|| array.value(row).to_owned())
    };
    let required = |array: &dyn Array, row: usize| array.as_string::<i32>().value(row).to_owned();
    let mut entries = Vec::with_capacity(batch.num_rows());
    for row in 0..batch.num_rows() {
        let findings = serde_json::from_str(reasons.as_string::<i32>().value(row))
            .map_err(|error| damaged(&format!("cannot read its reasons: {error}")))?;
        let record_sha256 = hashes.as_binary::<i32>().value(row);
        let record_sha256: [u8; 32] = record_sha256
            .try_into()
            .map_err(|_| damaged("its SHA-256 has not 32 bytes"))?;
        let line = lines.as_primitive::<Int64Type>().value(row).unsigned_abs();
        let revision = revisions.as_primitive::<Int32Type>();
        entries.push(HeldEntry {
            held_id: HeldId::new(&record_sha256, line),
            file_name: required(&names, row),
            line,
            visit_id: text(&visits, row),
            revision: revision
                .is_valid(row)
                .then(|| revision.value(row).unsigned_abs()),
            observer_id: text(&observers, row),
            findings,
            submission_sha256: required(&submissions, row),
            record_sha256,
        });
    }
    Ok(entries)
}

fn damaged(what: &str) -> Failure {
    Failure::new(Kind::Damaged, format!("a held record is damaged: {what}"))
        .mend("`bractline store verify` says more")
}

fn odd(error: &dyn std::fmt::Display) -> Failure {
    Failure::new(
        Kind::Store,
        format!("cannot read the held records: {error}"),
    )
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
