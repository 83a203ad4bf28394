//! Parquet files: visit records nested like the schema, as JSON; and flat tables, as a sheet.
//!
//! Which of the two a file is, its columns say: records have the list `sites`, a table has no nested
//! column. Whether a record is sound is [`crate::judge::judging`]'s to say.

use std::fs::File;
use std::panic::{AssertUnwindSafe, catch_unwind};
use std::path::Path;

use arrow::array::{Array, ArrayRef, AsArray, RecordBatch};
use arrow::compute::cast;
use arrow::datatypes::{
    DataType, Date32Type, Float64Type, Int64Type, Schema, TimeUnit, TimestampMillisecondType,
};
use arrow::error::ArrowError;
use arrow::json::LineDelimitedWriter;
use bytes::Bytes;
use jiff::civil::date;
use jiff::tz::TimeZone;
use jiff::{Timestamp, ToSpan};
use parquet::arrow::arrow_reader::{ParquetRecordBatchReader, ParquetRecordBatchReaderBuilder};

use crate::sheet::grid::{Allowance, Grid, ROWS_MAX, WORKBOOK_BYTES_MAX, refused};
use crate::sheet::table::{Cell, Sheet};
use scouting::failure::{Cause, Failure, Kind};

/// The first and last bytes of a Parquet file.
pub(crate) const MAGIC: &[u8] = b"PAR1";
/// Rows that are unpacked at once: texts are repeated in memory that are stored once.
const BATCH_ROWS: usize = 256;
/// A column of a row group is unpacked in pages of which the format only says how large all are.
const COLUMN_BYTES_MAX: i64 = 256 << 20;
/// Beyond this a whole number has no exact double.
const EXACT_MAX: i64 = 1 << 53;

/// Whether a Parquet file holds visit records, nested like the schema; else it is a flat table.
///
/// # Errors
/// If it is no sound Parquet file.
pub(crate) fn holds_records(path: &Path, name: &str) -> Result<bool, Failure> {
    let schema = builder(path, name)?.schema().clone();
    Ok(matches!(
        schema
            .field_with_name("sites")
            .map(|field| field.data_type()),
        Ok(DataType::List(_) | DataType::LargeList(_))
    ))
}

/// The records of a nested Parquet file as JSON documents, batch by batch.
pub(crate) struct ParquetRecords {
    name: String,
    batches: ParquetRecordBatchReader,
}

impl ParquetRecords {
    /// Opens a file of visit records.
    ///
    /// # Errors
    /// If it is no sound Parquet file.
    pub(crate) fn open(path: &Path, name: &str) -> Result<ParquetRecords, Failure> {
        Ok(ParquetRecords {
            name: name.to_owned(),
            batches: batches(path, name)?,
        })
    }
}

impl Iterator for ParquetRecords {
    type Item = Result<Vec<Bytes>, Failure>;

    /// The documents of the next rows. Members without a value are left out.
    fn next(&mut self) -> Option<Self::Item> {
        let batch = match next_batch(&mut self.batches, &self.name)? {
            Ok(batch) => batch,
            Err(failure) => return Some(Err(failure)),
        };
        Some(documents(&batch).map_err(|error| damaged(&self.name, error)))
    }
}

fn documents(batch: &RecordBatch) -> Result<Vec<Bytes>, ArrowError> {
    let mut writer = LineDelimitedWriter::new(Vec::new());
    writer.write(batch)?;
    writer.finish()?;
    let text = Bytes::from(writer.into_inner());
    // A line's end within a text is escaped in JSON.
    Ok(text
        .split(|byte| *byte == b'\n')
        .filter(|line| !line.is_empty())
        .map(|line| text.slice_ref(line))
        .collect())
}

/// A flat Parquet file as a sheet: its columns' names as row 1, its rows from row 2 on.
///
/// # Errors
/// If it is no sound Parquet file, has a column that no cell can hold, or holds more than is read.
pub(crate) fn parquet_sheet(path: &Path, name: &str) -> Result<Sheet, Failure> {
    let builder = builder(path, name)?;
    let rows = builder.metadata().file_metadata().num_rows();
    if !(0..=ROWS_MAX as i64).contains(&rows) {
        return Err(refused(name, &format!("{rows} rows, more than {ROWS_MAX}")).mend("split it"));
    }
    check_columns(builder.schema(), name)?;
    let mut allowance = Allowance::new(name, WORKBOOK_BYTES_MAX);
    let mut grid = Grid::new("", &mut allowance);
    let header = builder.schema().fields().iter();
    grid.push(
        1,
        header
            .map(|field| Cell::Text(field.name().clone()))
            .collect(),
    )?;
    let mut number = 1;
    let mut batches = batches(path, name)?;
    while let Some(batch) = next_batch(&mut batches, name) {
        let batch = batch?;
        let columns = batch
            .columns()
            .iter()
            .map(column_cells)
            .collect::<Result<Vec<_>, _>>()
            .map_err(|error| damaged(name, error))?;
        let mut columns: Vec<_> = columns.into_iter().map(Vec::into_iter).collect();
        for _ in 0..batch.num_rows() {
            number += 1;
            let cells = columns.iter_mut().filter_map(Iterator::next).collect();
            grid.push(number, cells)?;
        }
    }
    Ok(grid.finish())
}

fn check_columns(schema: &Schema, name: &str) -> Result<(), Failure> {
    let nested = schema.fields().iter().find(|field| {
        let kind = field.data_type();
        kind.is_nested() && !matches!(kind, DataType::Dictionary(..)) || kind.is_binary()
    });
    match nested {
        None => Ok(()),
        Some(field) => Err(Failure::new(
            Kind::Submission,
            format!(
                "cannot load {name}: no cell can hold the column \"{}\" ({})",
                field.name(),
                field.data_type()
            ),
        )
        .mend(
            "write visit records (with a list \"sites\"), or a table of texts, numbers and dates",
        )),
    }
}

/// The cells of a column.
fn column_cells(column: &ArrayRef) -> Result<Vec<Cell>, ArrowError> {
    let cells = |kind: &DataType, cell: &dyn Fn(&ArrayRef, usize) -> Cell| {
        let column = cast(column, kind)?;
        Ok((0..column.len())
            .map(|row| match column.is_null(row) {
                true => Cell::Empty,
                false => cell(&column, row),
            })
            .collect())
    };
    match column.data_type() {
        DataType::Null => Ok(vec![Cell::Empty; column.len()]),
        DataType::Boolean => cells(&DataType::Boolean, &|column, row| {
            Cell::Truth(column.as_boolean().value(row))
        }),
        kind if kind.is_integer() => cells(&DataType::Int64, &|column, row| {
            whole_number(column.as_primitive::<Int64Type>().value(row))
        }),
        kind if kind.is_floating() || kind.is_decimal() => {
            cells(&DataType::Float64, &|column, row| {
                number(column.as_primitive::<Float64Type>().value(row))
            })
        }
        DataType::Date32 | DataType::Date64 => cells(&DataType::Date32, &|column, row| {
            day(column.as_primitive::<Date32Type>().value(row))
        }),
        DataType::Timestamp(_, zone) => {
            let zone = zone.is_some();
            let milliseconds = DataType::Timestamp(TimeUnit::Millisecond, None);
            cells(&milliseconds, &move |column, row| {
                moment(
                    column.as_primitive::<TimestampMillisecondType>().value(row),
                    zone,
                )
            })
        }
        _ => cells(
            &DataType::Utf8,
            &|column, row| match column.as_string::<i32>().value(row) {
                "" => Cell::Empty,
                text => Cell::Text(text.to_owned()),
            },
        ),
    }
}

fn whole_number(value: i64) -> Cell {
    if value.abs() <= EXACT_MAX {
        Cell::Number(value as f64)
    } else {
        Cell::Text(value.to_string())
    }
}

/// What tables in memory write where they have no number is no number.
fn number(value: f64) -> Cell {
    if value.is_nan() {
        Cell::Empty
    } else if value.is_infinite() {
        Cell::Broken(value.to_string())
    } else {
        Cell::Number(value)
    }
}

fn day(days: i32) -> Cell {
    date(1970, 1, 1).checked_add(days.days()).map_or_else(
        |_| Cell::Broken(format!("day {days} since 1970 is no date")),
        Cell::Date,
    )
}

/// A time of the calendar, in UTC if the column has a zone. Tables in memory have no days, only midnights.
fn moment(milliseconds: i64, zone: bool) -> Cell {
    let Ok(timestamp) = Timestamp::from_millisecond(milliseconds) else {
        return Cell::Broken(format!("{milliseconds} ms since 1970 is no date"));
    };
    let moment = TimeZone::UTC.to_datetime(timestamp);
    if !zone && milliseconds % 86_400_000 == 0 {
        Cell::Date(moment.date())
    } else {
        Cell::Moment(moment)
    }
}

fn batches(path: &Path, name: &str) -> Result<ParquetRecordBatchReader, Failure> {
    builder(path, name)?
        .with_batch_size(BATCH_ROWS)
        .build()
        .map_err(|error| damaged(name, error))
}

/// A reader of a file whose columns are not larger than is unpacked.
fn builder(path: &Path, name: &str) -> Result<ParquetRecordBatchReaderBuilder<File>, Failure> {
    let file = File::open(path).map_err(|error| Failure::file("read", path, error))?;
    let builder = guarded(name, || {
        ParquetRecordBatchReaderBuilder::try_new(file).map_err(|error| damaged(name, error))
    })?;
    let mut columns = builder
        .metadata()
        .row_groups()
        .iter()
        .flat_map(|group| group.columns());
    if let Some(column) = columns.find(|column| column.uncompressed_size() > COLUMN_BYTES_MAX) {
        let what = format!(
            "{} bytes in one column of a row group, more than {COLUMN_BYTES_MAX}",
            column.uncompressed_size()
        );
        return Err(refused(name, &what).mend("write it with smaller row groups"));
    }
    Ok(builder)
}

fn next_batch(
    batches: &mut ParquetRecordBatchReader,
    name: &str,
) -> Option<Result<RecordBatch, Failure>> {
    guarded(name, || {
        batches
            .next()
            .transpose()
            .map_err(|error| damaged(name, error))
    })
    .transpose()
}

/// Calls the reader of Parquet. On a damaged file it can panic; that is the file's failure, not ours.
fn guarded<T>(name: &str, read: impl FnOnce() -> Result<T, Failure>) -> Result<T, Failure> {
    catch_unwind(AssertUnwindSafe(read))
        .unwrap_or_else(|_| Err(damaged(name, "its reader gave up on it")))
}

fn damaged(name: &str, error: impl Into<Cause>) -> Failure {
    Failure::because(
        Kind::Submission,
        format!("cannot load {name}: the Parquet file cannot be read"),
        error,
    )
    .mend("is the file whole? write or fetch it again")
}
