//! A text of which no form is recognized: it holds records, or is refused whole.
//!
//! Lines that are no records are held one by one, so that one broken line does not hold the others. A text that has hardly
//! a line of records is no submission: each of its lines on hold would be garbage in the place of one sentence.

use std::io::Read;

use crate::read::submitted::{Form, SubmittedFile, broken_off};
use scouting::failure::{Failure, Kind};

/// Bytes that are looked at.
const LOOK_BYTES: u64 = 64 * 1024;
/// What can separate the cells of a header.
const DELIMITERS: [char; 4] = ['\t', '|', ';', ','];

/// Refuses a text that holds neither records nor a table. Records it holds if its first line, or half of its lines, begin
/// as one does.
///
/// # Errors
/// A [`Failure`] that says what the text is and what to do.
pub fn refuse_other_text(file: &SubmittedFile) -> Result<(), Failure> {
    if file.form != Form::Ndjson {
        return Ok(());
    }
    let mut start = Vec::new();
    file.open()?
        .take(LOOK_BYTES)
        .read_to_end(&mut start)
        .map_err(|error| broken_off(&file.name, error))?;
    let is_all = (start.len() as u64) < LOOK_BYTES;
    let start = start.strip_prefix(b"\xef\xbb\xbf").unwrap_or(&start);
    let mut lines: Vec<&[u8]> = start
        .split(|byte| *byte == b'\n')
        .map(<[u8]>::trim_ascii)
        .filter(|line| !line.is_empty())
        .collect();
    // The last of them may go on beyond what is looked at.
    if !is_all {
        lines.pop();
    }
    let is_record = |line: &&&[u8]| line.starts_with(b"{");
    let records = lines.iter().filter(is_record).count();
    let begins = lines.first().is_some_and(|line| line.starts_with(b"{"));
    if lines.is_empty() || begins || records * 2 >= lines.len() || is_cut_short(&lines, is_all) {
        return Ok(());
    }
    let (what, mend) = match lines.as_slice() {
        [titles @ .., line] if is_header(titles, line) => (
            "it has no row below its header",
            "was the sheet saved with its rows? ask for it again",
        ),
        _ if start.contains(&0) => (
            "it is neither text nor a workbook that is known",
            "save it as XLSX, ODS, CSV, JSON or Parquet",
        ),
        _ => (
            "it is a text, with neither records (JSON) nor a table whose lines agree on a delimiter",
            "if it holds counts, type them into a sheet, save it as XLSX or CSV, and load that",
        ),
    };
    Err(Failure::new(
        Kind::Submission,
        format!(
            "cannot load {}: {what}; nothing of it was loaded",
            file.name
        ),
    )
    .mend(mend))
}

/// Whether too little is seen to judge: a header alone, or a quoted cell that does not end. The reader of tables says more.
fn is_cut_short(lines: &[&[u8]], is_all: bool) -> bool {
    let has_open_quote = |line: &&[u8]| line.iter().filter(|byte| **byte == b'"').count() % 2 == 1;
    !is_all && (lines.len() <= 1 || lines.iter().any(has_open_quote))
}

/// Whether a last line is a header, perhaps below titles: it alone has several cells.
fn is_header(titles: &[&[u8]], line: &[u8]) -> bool {
    let delimiters = |line: &[u8]| String::from_utf8_lossy(line).matches(DELIMITERS).count();
    let least = if titles.is_empty() { 1 } else { 2 };
    delimiters(line) >= least && titles.iter().all(|title| delimiters(title) == 0)
}

/// Refuses a file without any content. Somebody put it there for something.
///
/// # Errors
/// A [`Failure`] that says that it is empty.
pub fn refuse_empty(file: &SubmittedFile) -> Result<(), Failure> {
    let mut start = Vec::new();
    file.open()?
        .take(LOOK_BYTES)
        .read_to_end(&mut start)
        .map_err(|error| broken_off(&file.name, error))?;
    let start = start.strip_prefix(b"\xef\xbb\xbf").unwrap_or(&start);
    if start.len() as u64 == LOOK_BYTES || !start.trim_ascii().is_empty() {
        return Ok(());
    }
    Err(Failure::new(
        Kind::Submission,
        format!("cannot load {}: it is empty", file.name),
    )
    .mend("was it saved, and sent whole? ask for it again"))
}
