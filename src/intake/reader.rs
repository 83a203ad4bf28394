//! The records of a submission as bytes, with their line, in chunks that fit in memory.
//!
//! It cuts, it does not judge: whether a record is sound is [`super::judge`]'s to say. The bytes of a
//! record are kept as they came, without the line's end.

use std::io::BufRead;

use bytes::Bytes;
use serde_json::value::RawValue;

use super::formats::{Form, SubmittedFile};
use crate::failure::{Failure, Kind};

/// Records are handed on in chunks of about this size.
const CHUNK_BYTES: usize = 1 << 20;
/// A longer line is no list of records but another kind of file, or an attack on memory.
const LINE_BYTES_MAX: usize = 256 << 20;
/// A JSON document is read whole, so it may not be larger than this.
const DOCUMENT_BYTES_MAX: usize = 256 << 20;

/// One record as it was sent.
#[derive(Debug, Clone)]
pub struct RawRecord {
    /// Line of the submission, or place in its JSON array, from 1.
    pub line: u64,
    /// The bytes, without the line's end.
    pub bytes: Bytes,
}

/// The records of a submission, chunk by chunk.
pub struct RecordReader {
    name: String,
    source: Source,
}

enum Source {
    Lines {
        content: Box<dyn BufRead + Send>,
        line: u64,
    },
    Document(Option<Box<dyn BufRead + Send>>),
}

impl RecordReader {
    /// Opens a submission for reading its records.
    pub fn open(file: &SubmittedFile) -> Result<RecordReader, Failure> {
        let content = file.open()?;
        let source = match file.form {
            Form::Ndjson => Source::Lines { content, line: 0 },
            Form::Json => Source::Document(Some(content)),
        };
        Ok(RecordReader {
            name: file.name.clone(),
            source,
        })
    }

    fn read_chunk(&mut self) -> Result<Vec<RawRecord>, Failure> {
        match &mut self.source {
            Source::Lines { content, line } => lines(content.as_mut(), line, &self.name),
            Source::Document(content) => match content.take() {
                Some(mut content) => document(content.as_mut(), &self.name),
                None => Ok(Vec::new()),
            },
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

/// Reads lines until the chunk is full. Blank lines are no records.
fn lines(content: &mut dyn BufRead, line: &mut u64, name: &str) -> Result<Vec<RawRecord>, Failure> {
    let mut chunk: Vec<u8> = Vec::with_capacity(CHUNK_BYTES + CHUNK_BYTES / 8);
    let mut places = Vec::new();
    while chunk.len() < CHUNK_BYTES {
        let start = chunk.len();
        if !read_line(content, &mut chunk, name, *line + 1)? {
            break;
        }
        *line += 1;
        let end = start + without_line_end(&chunk[start..]).len();
        if chunk[start..end].trim_ascii().is_empty() {
            chunk.truncate(start);
        } else {
            places.push((*line, start..end));
        }
    }
    let chunk = Bytes::from(chunk);
    Ok(places
        .into_iter()
        .map(|(line, place)| RawRecord {
            line,
            bytes: chunk.slice(place),
        })
        .collect())
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
            .map_err(|error| broken_off(name, line, &error))?;
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
        if chunk.len() - start > LINE_BYTES_MAX {
            return Err(too_large(name, &format!("line {line}"), LINE_BYTES_MAX));
        }
    }
}

fn without_line_end(line: &[u8]) -> &[u8] {
    let line = line.strip_suffix(b"\n").unwrap_or(line);
    line.strip_suffix(b"\r").unwrap_or(line)
}

/// A JSON document: the elements of an array, or the document itself. One that cannot be cut is
/// handed on whole, so that it is judged and held.
fn document(content: &mut dyn BufRead, name: &str) -> Result<Vec<RawRecord>, Failure> {
    let mut bytes = Vec::new();
    std::io::Read::take(&mut *content, DOCUMENT_BYTES_MAX as u64 + 1)
        .read_to_end(&mut bytes)
        .map_err(|error| broken_off(name, 1, &error))?;
    if bytes.len() > DOCUMENT_BYTES_MAX {
        return Err(too_large(name, "the JSON document", DOCUMENT_BYTES_MAX)
            .mend("write one record a line (NDJSON): it is read in pieces of any number"));
    }
    let bytes = Bytes::from(bytes);
    let whole = || {
        vec![RawRecord {
            line: 1,
            bytes: bytes.clone(),
        }]
    };
    let text = bytes.strip_prefix(b"\xef\xbb\xbf").unwrap_or(&bytes);
    Ok(match serde_json::from_slice::<Vec<&RawValue>>(text) {
        Ok(elements) => (1..)
            .zip(elements)
            .map(|(line, element)| RawRecord {
                line,
                bytes: bytes.slice_ref(element.get().as_bytes()),
            })
            .collect(),
        Err(_) => whole(),
    })
}

use std::io::Read as _;

fn broken_off(name: &str, line: u64, error: &std::io::Error) -> Failure {
    Failure::new(
        Kind::Submission,
        format!("cannot read {name} to its end: {error}"),
    )
    .at(format!("about line {line}"))
    .mend("is the file whole? fetch it again; nothing of it was loaded")
}

fn too_large(name: &str, what: &str, limit: usize) -> Failure {
    Failure::new(
        Kind::Submission,
        format!(
            "cannot load {name}: {what} is larger than {} MiB",
            limit >> 20
        ),
    )
    .mend("is it a file of visit records, one a line? nothing of it was loaded")
}
