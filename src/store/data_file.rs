//! One Parquet file of a table, read by itself: whether it is what the log says, and its rows.
//!
//! Here files are read without the table's engine, so that what is wrong is told file by file.

use std::collections::BTreeSet;
use std::fs::File;
use std::io;
use std::path::Path;
use std::sync::Arc;

use arrow::array::{AsArray, Int32Array, RecordBatch};
use arrow::compute::cast;
use arrow::datatypes::DataType;
use parquet::arrow::ProjectionMask;
use parquet::arrow::arrow_reader::{ParquetRecordBatchReader, ParquetRecordBatchReaderBuilder};
use parquet::file::metadata::ParquetMetaData;
use parquet::file::statistics::Statistics;
use sha2::{Digest, Sha256};

use super::schema::arrow_schema;
use super::table_log::LiveFile;
use super::tables::Kept;

/// Rows that are read at a time; a held record may fill 100 MB.
const ROWS_AT_A_TIME: usize = 8192;
const HELD_AT_A_TIME: usize = 8;

/// What is wrong with a file, in words; nothing if it is there whole.
pub(super) fn fault(table: &Path, kept: Kept, file: &LiveFile) -> Option<String> {
    check(table, kept, file).err()
}

fn check(table: &Path, kept: Kept, file: &LiveFile) -> Result<(), String> {
    let path = table.join(file.path());
    let bytes = std::fs::metadata(&path)
        .map_err(|error| error.to_string())?
        .len();
    if bytes != file.bytes() {
        return Err(format!(
            "it has {bytes} bytes, where the log says {}",
            file.bytes()
        ));
    }
    if let Some(written) = file.sha256() {
        let found = sha256(&path).map_err(|error| error.to_string())?;
        if found != written {
            return Err("its bytes are not those that were written".to_owned());
        }
    }
    let opened = open(&path)?;
    let rows = opened.metadata().file_metadata().num_rows();
    if let Some(said) = file.rows().filter(|said| *said != rows) {
        return Err(format!("it has {rows} rows, where the log says {said}"));
    }
    check_ranges(file, opened.metadata())?;
    if file.sha256().is_none() {
        // Of a file without a known hash only the reading tells.
        let read = read_rows(opened, at_a_time(kept))?;
        let read: usize = read
            .map(|batch| batch.map(|batch| batch.num_rows()))
            .sum::<Result<usize, _>>()
            .map_err(|error| error.to_string())?;
        if read as i64 != rows {
            return Err(format!("{read} of its {rows} rows can be read"));
        }
    }
    Ok(())
}

fn sha256(path: &Path) -> io::Result<String> {
    let mut digest = Sha256::new();
    io::copy(&mut File::open(path)?, &mut digest)?;
    Ok(format!("{:x}", digest.finalize()))
}

/// A reader passes over files by the ranges that the log gives for texts and whole numbers: they must be
/// those of the file itself, or rows would be missed in silence.
fn check_ranges(file: &LiveFile, found: &ParquetMetaData) -> Result<(), String> {
    let columns = found.file_metadata().schema_descr();
    for (place, column) in columns.columns().iter().enumerate() {
        let name = column.name();
        let (Some(least), Some(greatest)) = (file.least(name), file.greatest(name)) else {
            continue;
        };
        let groups = found.row_groups().iter();
        let ranges: Option<Vec<_>> = groups
            .map(|group| range(group.column(place).statistics()?))
            .collect();
        let Some(ranges) = ranges.filter(|ranges| !ranges.is_empty()) else {
            continue;
        };
        let same = match (&least, &greatest) {
            (serde_json::Value::String(least), serde_json::Value::String(greatest)) => {
                let texts: Option<Vec<_>> = ranges.iter().map(Range::texts).collect();
                texts.is_none_or(|texts| {
                    texts.iter().map(|(least, _)| *least).min() == Some(least.as_bytes())
                        && texts.iter().map(|(_, greatest)| *greatest).max()
                            == Some(greatest.as_bytes())
                })
            }
            (serde_json::Value::Number(least), serde_json::Value::Number(greatest)) => {
                let wholes: Option<Vec<_>> = ranges.iter().map(Range::wholes).collect();
                wholes.is_none_or(|wholes| {
                    wholes.iter().map(|(least, _)| *least).min() == least.as_i64()
                        && wholes.iter().map(|(_, greatest)| *greatest).max() == greatest.as_i64()
                })
            }
            _ => true,
        };
        if !same {
            return Err(format!("the log gives another range of {name} than it has"));
        }
    }
    Ok(())
}

/// The range of a column within a row group.
enum Range {
    Texts(Vec<u8>, Vec<u8>),
    Wholes(i64, i64),
}

impl Range {
    fn texts(&self) -> Option<(&[u8], &[u8])> {
        match self {
            Range::Texts(least, greatest) => Some((least, greatest)),
            Range::Wholes(..) => None,
        }
    }

    fn wholes(&self) -> Option<(i64, i64)> {
        match self {
            Range::Wholes(least, greatest) => Some((*least, *greatest)),
            Range::Texts(..) => None,
        }
    }
}

/// The exact range that the file itself gives; ranges of long texts are cut and not exact.
fn range(statistics: &Statistics) -> Option<Range> {
    match statistics {
        Statistics::ByteArray(of) if of.min_is_exact() && of.max_is_exact() => Some(Range::Texts(
            of.min_opt()?.data().to_vec(),
            of.max_opt()?.data().to_vec(),
        )),
        Statistics::Int32(of) => Some(Range::Wholes(
            i64::from(*of.min_opt()?),
            i64::from(*of.max_opt()?),
        )),
        Statistics::Int64(of) => Some(Range::Wholes(*of.min_opt()?, *of.max_opt()?)),
        _ => None,
    }
}

fn open(path: &Path) -> Result<ParquetRecordBatchReaderBuilder<File>, String> {
    let file = File::open(path).map_err(|error| error.to_string())?;
    ParquetRecordBatchReaderBuilder::try_new(file).map_err(|error| error.to_string())
}

fn at_a_time(kept: Kept) -> usize {
    match kept {
        Kept::Held => HELD_AT_A_TIME,
        _ => ROWS_AT_A_TIME,
    }
}

fn read_rows(
    opened: ParquetRecordBatchReaderBuilder<File>,
    at_a_time: usize,
) -> Result<ParquetRecordBatchReader, String> {
    opened
        .with_batch_size(at_a_time)
        .build()
        .map_err(|error| error.to_string())
}

/// The loads whose rows a file holds; rows of drops, which count without a receipt, not among them.
pub(super) fn loads(table: &Path, file: &LiveFile) -> Result<BTreeSet<String>, String> {
    let opened = open(&table.join(file.path()))?;
    let wanted = ["load_id", "how"];
    let mask = ProjectionMask::columns(opened.parquet_schema(), wanted);
    let rows = read_rows(opened.with_projection(mask), ROWS_AT_A_TIME)?;
    let mut loads = BTreeSet::new();
    for batch in rows {
        let batch = batch.map_err(|error| error.to_string())?;
        let text = |name: &str| {
            let column = batch.column_by_name(name)?;
            cast(column, &DataType::Utf8).ok()
        };
        let ids = text("load_id").ok_or("it has no load_id")?;
        let how = text("how");
        for (row, id) in ids.as_string::<i32>().iter().enumerate() {
            let dropped = how
                .as_ref()
                .is_some_and(|how| how.as_string::<i32>().value(row) == "dropped");
            if let Some(id) = id.filter(|id| !dropped && !loads.contains(*id)) {
                loads.insert(id.to_owned());
            }
        }
    }
    Ok(loads)
}

/// The rows of a file with all columns of its table, batch by batch.
pub(super) fn rows(
    table: &Path,
    kept: Kept,
    file: &LiveFile,
) -> Result<impl Iterator<Item = Result<RecordBatch, String>> + Send + use<>, String> {
    let read = read_rows(open(&table.join(file.path()))?, at_a_time(kept))?;
    let season = file.season();
    Ok(read.map(move |batch| {
        let batch = batch.map_err(|error| error.to_string())?;
        whole_row(kept, season, &batch)
    }))
}

/// A batch with the column that its folder stands for, and with nulls where it is older than a column.
fn whole_row(kept: Kept, season: Option<i32>, batch: &RecordBatch) -> Result<RecordBatch, String> {
    let schema = arrow_schema(kept.columns());
    let columns = schema.fields().iter().map(|field| {
        if let Some(column) = batch.column_by_name(field.name()) {
            return cast(column, field.data_type()).map_err(|error| error.to_string());
        }
        match season {
            Some(season) if field.name() == "season" => {
                Ok(Arc::new(Int32Array::from(vec![season; batch.num_rows()])) as _)
            }
            _ => Ok(arrow::array::new_null_array(
                field.data_type(),
                batch.num_rows(),
            )),
        }
    });
    let columns = columns.collect::<Result<Vec<_>, String>>()?;
    RecordBatch::try_new(schema, columns).map_err(|error| error.to_string())
}
