//! A file that was handed in: where it is, what it holds, and its unpacked content.
//!
//! What form it has is recognized by [`crate::read::formats`].

use std::fs::File;
use std::io::{BufRead, BufReader};
use std::path::{Path, PathBuf};
use std::time::SystemTime;

use crate::read::limits::Unpacked;
use scouting::failure::{Failure, Kind};

/// What is read from a file at once.
const BUFFER_BYTES: usize = 256 * 1024;

/// A submitted file, before any of its records is read.
#[derive(Debug, Clone)]
pub struct SubmittedFile {
    /// Where it is.
    pub path: PathBuf,
    /// Its name for reports: without folder, `-` for standard input.
    pub name: String,
    /// SHA-256 of its bytes, hexadecimal.
    pub sha256: String,
    /// Its size, bytes.
    pub bytes: u64,
    /// When it was last written to, as far as the file system knows.
    pub modified: Option<SystemTime>,
    /// What it holds.
    pub form: Form,
    /// Whether it is packed with gzip.
    pub gzip: bool,
    /// Who sent it, as far as the place where it was found says.
    pub sender: Option<String>,
}

/// How records are arranged in a submission.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Form {
    /// One JSON document a line.
    Ndjson,
    /// One JSON document: a record, or an array of them.
    Json,
    /// Parquet with one nested row a record.
    ParquetRecords,
    /// Parquet with a flat table.
    ParquetTable,
    /// CSV, TSV and their kin.
    TextTable,
    /// An Office Open XML workbook: XLSX, XLSM.
    Xlsx,
    /// A workbook of the older binary format.
    Xls,
    /// An OpenDocument workbook.
    Ods,
}

impl Form {
    /// Whether it is a table, to be read through a mapping; else it holds records.
    pub fn is_table(self) -> bool {
        match self {
            Form::Ndjson | Form::Json | Form::ParquetRecords => false,
            Form::ParquetTable | Form::TextTable | Form::Xlsx | Form::Xls | Form::Ods => true,
        }
    }

    pub(crate) fn name(self) -> &'static str {
        match self {
            Form::Ndjson => "ndjson",
            Form::Json => "json",
            Form::ParquetRecords => "parquet",
            Form::ParquetTable => "parquet table",
            Form::TextTable => "text table",
            Form::Xlsx => "xlsx",
            Form::Xls => "xls",
            Form::Ods => "ods",
        }
    }
}

impl SubmittedFile {
    /// Refuses a file that was written to since it was looked at: its receipt would name a content
    /// that nobody read.
    pub fn check_unchanged(&self) -> Result<(), Failure> {
        let metadata = std::fs::metadata(&self.path)
            .map_err(|error| Failure::file("read", &self.path, error))?;
        if metadata.len() == self.bytes && metadata.modified().ok() == self.modified {
            return Ok(());
        }
        Err(Failure::new(
            Kind::Submission,
            format!("{} changed while it was read", self.name),
        )
        .mend("load it when it is complete; nothing of it was loaded"))
    }

    /// The file, found in the folder of a sender.
    pub fn from_sender(self, sender: Option<String>) -> SubmittedFile {
        SubmittedFile { sender, ..self }
    }

    /// Opens the unpacked content.
    pub fn open(&self) -> Result<Box<dyn BufRead + Send>, Failure> {
        open_content(&self.path, self.gzip)
            .map_err(|error| Failure::file("read", &self.path, error))
    }

    /// The form in words, for receipts.
    pub fn form_name(&self) -> String {
        let form = self.form.name();
        if self.gzip {
            format!("{form}+gzip")
        } else {
            form.to_owned()
        }
    }
}

/// A submission that ends too early, or cannot be unpacked or read to its end.
pub fn broken_off(name: &str, error: std::io::Error) -> Failure {
    Failure::because(
        Kind::Submission,
        format!("cannot read {name} to its end"),
        error,
    )
    .mend("is the file whole? fetch it again; nothing of it was loaded")
}

/// The unpacked content of a file.
pub(crate) fn open_content(path: &Path, gzip: bool) -> std::io::Result<Box<dyn BufRead + Send>> {
    let file = File::open(path)?;
    Ok(if gzip {
        Box::new(BufReader::with_capacity(
            BUFFER_BYTES,
            Unpacked::new(file, BUFFER_BYTES),
        ))
    } else {
        Box::new(BufReader::with_capacity(BUFFER_BYTES, file))
    })
}
