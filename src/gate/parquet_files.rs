//! A Parquet file as the gate reads it: rows of named cells, the positions of their geometries, the notes of the
//! file. Reads the finished bytes, not what they were made from.

use arrow::array::{Array, AsArray, RecordBatch};
use arrow::util::display::array_value_to_string;
use bytes::Bytes;
use parquet::arrow::ARROW_SCHEMA_META_KEY;
use parquet::arrow::arrow_reader::ParquetRecordBatchReaderBuilder;

use super::tables::{Cells, Feature};
use crate::shared::geo_columns::{BBOX, GEOMETRY};
use scouting::failure::Cause;

/// What a file holds.
pub(crate) struct Packed {
    pub(crate) rows: Vec<Feature>,
    /// The notes that go with the columns, and what is said of these, one after the other.
    pub(crate) notes: String,
}

pub(crate) fn read_packed(bytes: &[u8]) -> Result<Packed, Cause> {
    let builder = ParquetRecordBatchReaderBuilder::try_new(Bytes::copy_from_slice(bytes))?;
    let mut notes = String::new();
    for note in builder
        .metadata()
        .file_metadata()
        .key_value_metadata()
        .into_iter()
        .flatten()
    {
        // The schema in another form; it says what is read from the columns below.
        if note.key != ARROW_SCHEMA_META_KEY {
            notes += &format!(
                "{}\n{}\n",
                note.key,
                note.value.as_deref().unwrap_or_default()
            );
        }
    }
    for field in builder.schema().fields() {
        for (key, value) in field.metadata() {
            notes += &format!("{key}\n{value}\n");
        }
    }
    let mut rows = Vec::new();
    for batch in builder.build()? {
        let batch = batch?;
        for row in 0..batch.num_rows() {
            rows.push(feature_of(&batch, row)?);
        }
    }
    Ok(Packed { rows, notes })
}

fn feature_of(batch: &RecordBatch, row: usize) -> Result<Feature, Cause> {
    let mut cells = Cells::new();
    let mut positions = Vec::new();
    let mut is_point = false;
    let schema = batch.schema();
    for (field, column) in schema.fields().iter().zip(batch.columns()) {
        if field.name() == BBOX {
            // The box is judged by its geometry.
            continue;
        }
        if field.name() == GEOMETRY {
            if column.is_valid(row) {
                let mut rest = column.as_binary::<i32>().value(row);
                is_point = rest.get(1) == Some(&POINT);
                gather(&mut rest, &mut positions).ok_or("a geometry cannot be read")?;
            }
            continue;
        }
        let cell = column
            .is_valid(row)
            .then(|| array_value_to_string(column, row));
        let cell = cell.transpose()?;
        cells.insert(field.name().clone(), cell);
    }
    Ok(Feature {
        cells,
        is_point,
        positions,
    })
}

/// Kinds of geometry of well-known binary (OGC 06-103r4, section 8.2.3).
const POINT: u8 = 1;
const POLYGON: u32 = 3;
const MULTI_POLYGON: u32 = 6;

/// The positions of a geometry that we write: points and areas, the bytes of their numbers in ascending order.
fn gather(rest: &mut &[u8], positions: &mut Vec<(f64, f64)>) -> Option<()> {
    let (order, after) = rest.split_first()?;
    *rest = after;
    if *order != 1 {
        return None;
    }
    match whole(rest)? {
        1 => position(rest, positions),
        POLYGON => (0..whole(rest)?).try_for_each(|_| {
            let length = whole(rest)?;
            (0..length).try_for_each(|_| position(rest, positions))
        }),
        MULTI_POLYGON => (0..whole(rest)?).try_for_each(|_| gather(rest, positions)),
        _ => None,
    }
}

fn whole(rest: &mut &[u8]) -> Option<u32> {
    let (bytes, after) = rest.split_first_chunk::<4>()?;
    *rest = after;
    Some(u32::from_le_bytes(*bytes))
}

fn position(rest: &mut &[u8], positions: &mut Vec<(f64, f64)>) -> Option<()> {
    let (lon, after) = rest.split_first_chunk::<8>()?;
    let (lat, after) = after.split_first_chunk::<8>()?;
    *rest = after;
    positions.push((f64::from_le_bytes(*lon), f64::from_le_bytes(*lat)));
    Some(())
}
