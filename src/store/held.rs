//! The held records: what could not be accepted, with reasons.

use arrow::array::{Array, AsArray};
use arrow::compute::cast;
use arrow::datatypes::{DataType, Int64Type};
use serde::Serialize;

use super::snapshot::{Snapshot, unreadable};
use super::tables::Store;
use crate::failure::{Failure, Kind};
use crate::visit::finding::Finding;

/// One held record.
#[derive(Debug, Clone, Serialize)]
pub struct HeldRecord {
    /// File that it came in.
    pub file_name: String,
    /// Line of that file, or place in its JSON array, from 1.
    pub line: i64,
    /// Identity of the visit, if it could be read.
    pub visit_id: Option<String>,
    /// Pseudonym of the scout, if it could be read.
    pub observer_id: Option<String>,
    /// Why it is held.
    pub findings: Vec<Finding>,
    /// The record as sent, with the bytes that are not UTF-8 shown as `\xNN`.
    pub record: String,
}

/// Every held record, in the order of arrival.
pub async fn held_records(store: &Store) -> Result<Vec<HeldRecord>, Failure> {
    let snapshot = Snapshot::open(store, 1).await?;
    let query = "select h.file_name, h.line, h.visit_id, h.observer_id, h.reasons, h.record \
         from held h inner join receipts r on h.load_id = r.load_id \
         order by r.received_at, h.load_id, h.line";
    let plan = snapshot
        .session()
        .sql(query)
        .await
        .map_err(|error| unreadable(&error))?;
    let batches = plan.collect().await.map_err(|error| unreadable(&error))?;
    let mut records = Vec::new();
    for batch in batches {
        let column = |place: usize, as_type: DataType| {
            cast(batch.column(place), &as_type)
                .map_err(|error| Failure::new(Kind::Store, error.to_string()))
        };
        let [names, visits, observers, reasons] = [
            column(0, DataType::Utf8)?,
            column(2, DataType::Utf8)?,
            column(3, DataType::Utf8)?,
            column(4, DataType::Utf8)?,
        ];
        let lines = column(1, DataType::Int64)?;
        let raw = column(5, DataType::Binary)?;
        let text = |array: &dyn Array, row: usize| {
            let array = array.as_string::<i32>();
            array.is_valid(row).then(|| array.value(row).to_owned())
        };
        for row in 0..batch.num_rows() {
            let reasons = reasons.as_string::<i32>().value(row);
            let findings = serde_json::from_str(reasons).map_err(|error| {
                Failure::new(
                    Kind::Damaged,
                    format!("cannot read the reasons of a held record: {error}"),
                )
            })?;
            records.push(HeldRecord {
                file_name: names.as_string::<i32>().value(row).to_owned(),
                line: lines.as_primitive::<Int64Type>().value(row),
                visit_id: text(&visits, row),
                observer_id: text(&observers, row),
                findings,
                record: readable(raw.as_binary::<i32>().value(row)),
            });
        }
    }
    Ok(records)
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
