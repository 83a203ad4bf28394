//! The records of a submission as bytes, with their line, in chunks that fit in memory.
//!
//! It cuts, it does not judge: whether a record is sound is [`crate::judge::judging`]'s to say. The bytes of a
//! record are kept as they came, without the line's end or the blanks around an array's element.

use std::io::BufRead;
use std::ops::Range;

use bytes::Bytes;

use crate::mapping::Mapping;
use crate::read::cut::{Cut, Cutter};
use crate::read::limits::Between;
use crate::read::no_table::as_table;
use crate::read::not_read::NotRead;
use crate::read::parquet_records::ParquetRecords;
use crate::read::raw_record::{CHUNK_BYTES, RawRecord, Sent};
use crate::read::submitted::{Form, SubmittedFile, broken_off};
use crate::read::table_records::table_records;
use scouting::failure::{Failure, Kind};

/// Records in a chunk, whatever its size: of a wrong file they can be a byte long.
const CHUNK_RECORDS_MAX: usize = 4_096;
/// Whatever is longer is no record but another kind of file, or an attack on memory.
const RECORD_BYTES_MAX: usize = 128 << 20;
const BYTE_ORDER_MARK: &[u8] = b"\xef\xbb\xbf";

/// The records of a submission, chunk by chunk.
pub struct RecordReader {
    name: String,
    source: Source,
    not_read: NotRead,
    between: Between,
}

enum Source {
    Lines {
        content: Box<dyn BufRead + Send>,
        line: u64,
    },
    Json {
        content: Box<dyn BufRead + Send>,
        cutter: Cutter,
        place: u64,
    },
    Parquet {
        records: Box<ParquetRecords>,
        row: u64,
    },
    Table(std::vec::IntoIter<RawRecord>),
}

impl RecordReader {
    /// Opens a submission for reading its records; `mapping` says what the columns of a table are.
    pub fn open(file: &SubmittedFile, mapping: Option<&Mapping>) -> Result<RecordReader, Failure> {
        let mapped = mapping.map(|_| as_table(file)).transpose()?;
        let file = mapped.as_ref().unwrap_or(file);
        let mut not_read = NotRead::default();
        let source = match file.form {
            Form::Ndjson | Form::Json if mapping.is_some() => {
                Source::Table(table_records(file, mapping)?.records.into_iter())
            }
            Form::Ndjson => Source::Lines {
                content: file.open()?,
                line: 0,
            },
            Form::Json => {
                let mut content = file.open()?;
                let at_mark = |error| broken_off(&file.name, error);
                let marked = content.fill_buf().map_err(at_mark)?;
                if marked.starts_with(BYTE_ORDER_MARK) && before_array(marked) {
                    content.consume(BYTE_ORDER_MARK.len());
                }
                Source::Json {
                    content,
                    cutter: Cutter::default(),
                    place: 0,
                }
            }
            Form::ParquetRecords => Source::Parquet {
                records: Box::new(ParquetRecords::open(&file.path, &file.name)?),
                row: 0,
            },
            Form::ParquetTable | Form::TextTable | Form::Xlsx | Form::Xls | Form::Ods => {
                let table = table_records(file, mapping)?;
                not_read = table.not_read;
                Source::Table(table.records.into_iter())
            }
        };
        Ok(RecordReader {
            name: file.name.clone(),
            source,
            not_read,
            between: Between::default(),
        })
    }

    /// What is left out of the file.
    pub fn not_read(&self) -> &NotRead {
        &self.not_read
    }

    /// The records that were sent out to be corrected and come back.
    pub fn returned_mut(&mut self) -> impl Iterator<Item = &mut RawRecord> {
        let records = match &mut self.source {
            Source::Table(records) => records.as_mut_slice(),
            _ => &mut [],
        };
        records
            .iter_mut()
            .filter(|record| record.returned.is_some())
    }

    fn read_chunk(&mut self) -> Result<Vec<RawRecord>, Failure> {
        match &mut self.source {
            Source::Lines { content, line } => {
                lines(content.as_mut(), line, &mut self.between, &self.name)
            }
            Source::Json {
                content,
                cutter,
                place,
            } => cut_records(
                content.as_mut(),
                cutter,
                (place, &mut self.between),
                &self.name,
            ),
            Source::Parquet { records, row } => next_rows(records, row),
            Source::Table(records) => Ok(records.take(CHUNK_RECORDS_MAX).collect()),
        }
    }
}

impl Iterator for RecordReader {
    type Item = Result<Vec<RawRecord>, Failure>;

    /// The next chunk; the end when there is no record left.
    fn next(&mut self) -> Option<Self::Item> {
        match self.read_chunk() {
            Ok(records) if records.is_empty() => None,
            chunk => Some(chunk),
        }
    }
}

/// A chunk being filled: the bytes of its records one after the other, and where each is.
struct Chunk {
    bytes: Vec<u8>,
    places: Vec<(u64, Range<usize>)>,
}

impl Chunk {
    fn new() -> Chunk {
        Chunk {
            bytes: Vec::with_capacity(CHUNK_BYTES + CHUNK_BYTES / 8),
            places: Vec::new(),
        }
    }

    fn is_full(&self) -> bool {
        self.bytes.len() >= CHUNK_BYTES || self.places.len() >= CHUNK_RECORDS_MAX
    }

    fn records(self) -> Vec<RawRecord> {
        let bytes = Bytes::from(self.bytes);
        self.places
            .into_iter()
            .map(|(line, place)| RawRecord {
                line,
                sent: Sent::Bytes(bytes.slice(place)),
                mends: None,
                returned: None,
            })
            .collect()
    }
}

/// Reads lines until the chunk is full. Blank lines are no records.
fn lines(
    content: &mut dyn BufRead,
    line: &mut u64,
    between: &mut Between,
    name: &str,
) -> Result<Vec<RawRecord>, Failure> {
    let mut chunk = Chunk::new();
    while !chunk.is_full() {
        let start = chunk.bytes.len();
        if !read_line(content, &mut chunk.bytes, name, *line + 1)? {
            break;
        }
        *line += 1;
        let end = start + without_line_end(&chunk.bytes[start..]).len();
        if is_blank(&chunk.bytes[start..end]) {
            between.add_between(chunk.bytes.len() - start);
            chunk.bytes.truncate(start);
            refuse_blanks(between, name)?;
        } else {
            between.add_records(end - start);
            chunk.places.push((*line, start..end));
        }
    }
    Ok(chunk.records())
}

/// A byte order mark alone is what an editor leaves of an empty file.
fn is_blank(line: &[u8]) -> bool {
    line.strip_prefix(BYTE_ORDER_MARK)
        .unwrap_or(line)
        .trim_ascii()
        .is_empty()
}

/// Appends one line with its end; `false` at the end of the content.
fn read_line(
    content: &mut dyn BufRead,
    chunk: &mut Vec<u8>,
    name: &str,
    line: u64,
) -> Result<bool, Failure> {
    let start = chunk.len();
    loop {
        let block = content
            .fill_buf()
            .map_err(|error| broken_off(name, error).at(format!("about line {line}")))?;
        if block.is_empty() {
            return Ok(chunk.len() > start);
        }
        let end = memchr::memchr(b'\n', block);
        let taken = end.map_or(block.len(), |place| place + 1);
        chunk.extend_from_slice(&block[..taken]);
        content.consume(taken);
        if end.is_some() {
            return Ok(true);
        }
        if chunk.len() - start > RECORD_BYTES_MAX {
            return Err(too_large(name, &format!("line {line}")));
        }
    }
}

fn without_line_end(line: &[u8]) -> &[u8] {
    let line = line.strip_suffix(b"\n").unwrap_or(line);
    line.strip_suffix(b"\r").unwrap_or(line)
}

/// Cuts records out of a JSON text until the chunk is full.
fn cut_records(
    content: &mut dyn BufRead,
    cutter: &mut Cutter,
    (place, between): (&mut u64, &mut Between),
    name: &str,
) -> Result<Vec<RawRecord>, Failure> {
    let mut chunk = Chunk::new();
    let mut start = 0;
    while !chunk.is_full() || chunk.bytes.len() > start {
        let block = content
            .fill_buf()
            .map_err(|error| broken_off(name, error).at(format!("about record {}", *place + 1)))?;
        if block.is_empty() {
            if std::mem::take(cutter).is_open() || chunk.bytes.len() > start {
                end_record(&mut chunk, &mut start, place);
            }
            break;
        }
        let (mut taken, mut inside) = (0, 0);
        for &byte in block {
            taken += 1;
            let cut = cutter.take(byte, chunk.bytes.len() == start);
            if matches!(cut, Cut::Inside | Cut::Last) {
                chunk.bytes.push(byte);
                inside += 1;
            }
            if matches!(cut, Cut::Last | Cut::After) {
                end_record(&mut chunk, &mut start, place);
                if chunk.is_full() {
                    break;
                }
            }
        }
        content.consume(taken);
        between.add_records(inside);
        between.add_between(taken - inside);
        refuse_blanks(between, name)?;
        if chunk.bytes.len() - start > RECORD_BYTES_MAX {
            return Err(too_large(name, &format!("record {}", *place + 1)));
        }
    }
    Ok(chunk.records())
}

/// The records of the next rows of a Parquet file.
fn next_rows(records: &mut ParquetRecords, row: &mut u64) -> Result<Vec<RawRecord>, Failure> {
    let documents = records.next().transpose()?.unwrap_or_default();
    Ok(documents
        .into_iter()
        .map(|bytes| {
            *row += 1;
            RawRecord {
                line: *row,
                sent: Sent::Bytes(bytes),
                mends: None,
                returned: None,
            }
        })
        .collect())
}

fn end_record(chunk: &mut Chunk, start: &mut usize, place: &mut u64) {
    let end = *start + chunk.bytes[*start..].trim_ascii_end().len();
    chunk.bytes.truncate(end);
    *place += 1;
    chunk.places.push((*place, *start..end));
    *start = end;
}

/// Whether what follows the mark is an array: then no record begins with the mark.
fn before_array(marked: &[u8]) -> bool {
    marked[BYTE_ORDER_MARK.len()..]
        .trim_ascii_start()
        .starts_with(b"[")
}

/// A text that is blank but for a few records is endless reading for nothing.
fn refuse_blanks(between: &Between, name: &str) -> Result<(), Failure> {
    match between.is_too_much() {
        false => Ok(()),
        true => Err(Failure::new(
            Kind::Submission,
            format!(
                "cannot load {name}: it is mostly blank, {} bytes of blank lines so far",
                between.bytes()
            ),
        )
        .mend("is it a file of visit records? nothing of it was loaded")),
    }
}

fn too_large(name: &str, what: &str) -> Failure {
    Failure::new(
        Kind::Submission,
        format!(
            "cannot load {name}: {what} is larger than {} MiB",
            RECORD_BYTES_MAX >> 20
        ),
    )
    .mend("is it a file of visit records? nothing of it was loaded")
}
