//! A submission that a mapping was named for: it is a table, or it is refused in words.
//!
//! Without this, a printed page or an empty sheet would be taken for lines of records, and each line held: garbage in the
//! place of one sentence. What a text is, its first bytes say; reading it is [`crate::read::text_table`]'s.

use std::io::Read;

use crate::read::submitted::{Form, SubmittedFile};
use scouting::failure::{Failure, Kind};

/// Bytes that are looked at.
const LOOK_BYTES: u64 = 4 * 1024;
/// Bytes in which the first record of a JSON document says what it is.
const RECORD_LOOK_BYTES: u64 = 64 * 1024;

/// Kinds of file that are neither records nor a table, by how they begin; letters in any case.
const OTHER_KINDS: [(&[u8], &str, &str); 16] = [
    (
        b"%pdf",
        "a PDF, which is made for printing",
        "ask for the workbook or the CSV that it was printed from",
    ),
    (b"<!doctype html", "a web page (HTML)", SAVE_AS),
    (b"<html", "a web page (HTML)", SAVE_AS),
    (b"<?xml", "XML", SAVE_AS),
    (b"<table", "a web page (HTML)", SAVE_AS),
    (b"{\\rtf", "a text document (RTF)", SAVE_AS),
    (
        b"[internetshortcut]",
        "a link, not the file that it opens",
        LINKED,
    ),
    (
        b"[desktop entry]",
        "a link, not the file that it opens",
        LINKED,
    ),
    (b"mime-version:", "a mail", ATTACHED),
    (b"return-path:", "a mail", ATTACHED),
    (b"delivered-to:", "a mail", ATTACHED),
    (b"received: ", "a mail", ATTACHED),
    (b"from: ", "a mail", ATTACHED),
    (
        b"\xff\xd8\xff",
        "a picture (JPEG)",
        "type what it shows into a sheet",
    ),
    (
        b"\x89png",
        "a picture (PNG)",
        "type what it shows into a sheet",
    ),
    (
        b"7z\xbc\xaf\x27\x1c",
        "a packed archive (7z)",
        "unpack it and load what was in it",
    ),
];
const LINKED: &str = "ask for the file itself";
const ATTACHED: &str = "save what is attached to it, and load that";
/// Begins a Parquet file whose description is encrypted, and whatever else begins with these letters.
const ENCRYPTED_PARQUET: &[u8] = b"PARE";
const SAVE_AS: &str = "open it in a spreadsheet program, save it as XLSX or CSV, and load that";

/// Refuses a file that begins as none of records or of a table does, by what it is.
///
/// # Errors
/// A [`Failure`] that names the kind of file and what to do.
pub(crate) fn refuse_other_kinds(start: &[u8], name: &str) -> Result<(), Failure> {
    let start = start.strip_prefix(b"\xef\xbb\xbf").unwrap_or(start);
    let start = start.trim_ascii_start();
    // A column may be called PARENT; pages have bytes that no text has.
    let encrypted = start.starts_with(ENCRYPTED_PARQUET) && start.iter().any(|byte| *byte < b'\t');
    if encrypted {
        return Err(Failure::new(
            Kind::Submission,
            format!("cannot load {name}: it is a Parquet file with an encrypted footer, which cannot be read without its key"),
        )
        .mend("ask for the file without encryption; nothing of it was loaded"));
    }
    let begins = |magic: &[u8]| {
        start
            .get(..magic.len())
            .is_some_and(|begin| begin.eq_ignore_ascii_case(magic))
    };
    match OTHER_KINDS.iter().find(|(magic, ..)| begins(magic)) {
        None => Ok(()),
        Some((_, kind, mend)) => Err(Failure::new(
            Kind::Submission,
            format!("cannot load {name}: it is {kind}; nothing of it was loaded"),
        )
        .mend(*mend)),
    }
}

/// The file as a mapping takes it: a text that does not look like a table is read as one all the same, so that what is
/// wrong with it is reported once for the whole, not line by line.
///
/// # Errors
/// A [`Failure`] for a file that is empty, or holds records.
pub fn as_table(file: &SubmittedFile) -> Result<SubmittedFile, Failure> {
    if file.form.is_table() {
        return Ok(file.clone());
    }
    let mut start = Vec::new();
    file.open()?
        .take(LOOK_BYTES)
        .read_to_end(&mut start)
        .map_err(|error| Failure::file("read", &file.path, error))?;
    let start = start.strip_prefix(b"\xef\xbb\xbf").unwrap_or(&start);
    let start = start.trim_ascii_start();
    let refused = |what: &str, mend: &str| {
        let what = format!("cannot load {} by a mapping: {what}", file.name);
        Err(Failure::new(Kind::Submission, what).mend(mend.to_owned()))
    };
    match start.first() {
        None => refused(
            "it is empty",
            "was it saved? submit the sheet with its header and its rows",
        ),
        Some(b'{' | b'[') if holds_our_records(file)? => refused(
            "it holds records as JSON, which need none",
            "load it without --mapping, in a command of its own",
        ),
        Some(b'{' | b'[') => Ok(file.clone()),
        _ if file.form == Form::ParquetRecords => refused(
            "it holds records, which need none",
            "load it without --mapping, in a command of its own",
        ),
        _ if start.contains(&0) => refused(
            "it is neither text nor a workbook that is known",
            "save it as XLSX, ODS, CSV or Parquet",
        ),
        Some(_) => Ok(SubmittedFile {
            form: Form::TextTable,
            ..file.clone()
        }),
    }
}

/// Whether a JSON document holds records of our schema, which say so in each; else it is another program's.
///
/// # Errors
/// If it cannot be read.
pub(crate) fn holds_our_records(file: &SubmittedFile) -> Result<bool, Failure> {
    let mut start = Vec::new();
    file.open()?
        .take(RECORD_LOOK_BYTES)
        .read_to_end(&mut start)
        .map_err(|error| Failure::file("read", &file.path, error))?;
    Ok(memchr::memmem::find(&start, b"\"schema_version\"").is_some())
}

/// A table of which a mapping made nothing.
pub(crate) fn without_rows(name: &str) -> Failure {
    Failure::new(
        Kind::Submission,
        format!("cannot load {name}: it has no row below its header, as the mapping reads it"),
    )
    .mend("does the mapping name the right sheet, header row and delimiter? or was the sheet saved empty?")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn other_kinds_of_file_are_known_by_how_they_begin() {
        for (start, named) in [
            (&b"%PDF-1.7\n"[..], "a PDF"),
            (b"\xef\xbb\xbf  <!DOCTYPE HTML PUBLIC", "a web page"),
            (b"<Table>", "a web page"),
            (b"PARE\x15\x02", "encrypted footer"),
            (b"\xff\xd8\xff\xe0", "a picture (JPEG)"),
        ] {
            let refused = refuse_other_kinds(start, "sheet.xls").expect_err("no submission");
            assert!(refused.to_string().contains(named), "{refused}");
        }
        for start in [
            &b"Field,Area\n"[..],
            b"{}",
            b"[",
            b"",
            b"PAR1",
            b"pdf",
            b"<",
            b"PARENT,a\n",
        ] {
            assert_eq!(refuse_other_kinds(start, "file"), Ok(()));
        }
    }
}
