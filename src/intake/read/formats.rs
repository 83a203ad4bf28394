//! What kind of file a submission is, recognized by its content and never by its name.
//!
//! Reading its records is [`crate::read::reader`].

use std::fs::File;
use std::io::Read;
use std::path::Path;

use sha2::{Digest, Sha256};

use super::{parquet_records, text_encoding, text_table};
use crate::read::no_table::refuse_other_kinds;
use crate::read::submitted::{Form, SubmittedFile, broken_off, open_content};
use crate::workbook::compound;
use crate::workbook::package::{Package, PackageKind};
use scouting::failure::{Failure, Kind};
use scouting::plain_file::open_plain;

/// How much of a submission is looked at to tell its form.
const LOOK_BYTES: usize = 64 * 1024;
const GZIP_MAGIC: [u8; 2] = [0x1f, 0x8b];
/// Begins a zip archive that has an entry.
const ZIP_MAGIC: &[u8] = b"PK\x03\x04";

/// Reads a file once, for its hash, its size and its form.
///
/// # Errors
/// If the file cannot be read or unpacked to its end, or is of a kind that holds neither records nor a table.
pub fn look_at(path: &Path, name: &str) -> Result<SubmittedFile, Failure> {
    let unreadable = |error| Failure::file("read", path, error);
    let mut file = open_plain(path)?;
    let metadata = file.metadata().map_err(unreadable)?;
    let (hash, bytes) = hash_of(&mut file).map_err(unreadable)?;
    let gzip = starts_with_gzip(path).map_err(unreadable)?;
    let mut content = open_content(path, gzip).map_err(unreadable)?;
    let mut look = Vec::new();
    let looked = content
        .by_ref()
        .take(LOOK_BYTES as u64)
        .read_to_end(&mut look);
    // A packed file that was cut off is known by unpacking it, before anything is loaded.
    let unpacked = match gzip {
        true => looked.and_then(|_| std::io::copy(&mut content, &mut std::io::sink())),
        false => looked.map(|_| 0),
    };
    unpacked.map_err(|error| broken_off(name, error))?;
    let form = match binary_form(&look, path, name)? {
        Some(form) if gzip => return Err(packed_twice(name, form)),
        Some(form) => form,
        None => text_form(&look, look.len() < LOOK_BYTES, name)?,
    };
    Ok(SubmittedFile {
        path: path.to_owned(),
        name: name.to_owned(),
        sha256: hash,
        bytes,
        modified: metadata.modified().ok(),
        form,
        gzip,
        sender: None,
    })
}

fn starts_with_gzip(path: &Path) -> std::io::Result<bool> {
    let mut start = Vec::new();
    File::open(path)?.take(2).read_to_end(&mut start)?;
    Ok(start == GZIP_MAGIC)
}

fn hash_of(file: &mut File) -> std::io::Result<(String, u64)> {
    let mut hasher = Sha256::new();
    let mut block = vec![0; 256 * 1024];
    let mut bytes = 0;
    loop {
        let read = file.read(&mut block)?;
        if read == 0 {
            break;
        }
        hasher.update(&block[..read]);
        bytes += read as u64;
    }
    Ok((hexadecimal(&hasher.finalize()), bytes))
}

/// Lower-case hexadecimal digits.
pub fn hexadecimal(bytes: &[u8]) -> String {
    bytes.iter().map(|byte| format!("{byte:02x}")).collect()
}

/// The form of a file that is no text; none if it is one.
fn binary_form(start: &[u8], path: &Path, name: &str) -> Result<Option<Form>, Failure> {
    Ok(Some(if start.starts_with(ZIP_MAGIC) {
        match Package::open(path, name)?.kind()? {
            PackageKind::Xlsx => Form::Xlsx,
            PackageKind::Ods => Form::Ods,
        }
    } else if start.starts_with(compound::MAGIC) {
        Form::Xls
    } else if start.starts_with(parquet_records::MAGIC) {
        match parquet_records::holds_records(path, name)? {
            true => Form::ParquetRecords,
            false => Form::ParquetTable,
        }
    } else {
        refuse_other_kinds(start, name)?;
        return Ok(None);
    }))
}

fn packed_twice(name: &str, form: Form) -> Failure {
    Failure::new(
        Kind::Submission,
        format!("cannot load {name}: it is {} packed with gzip", form.name()),
    )
    .mend("unpack it and submit what was in it")
}

/// Recognizes the form of a text from its beginning; `is_whole` if that is all of it.
///
/// An array, or an object that is spread over lines, is one document; a text whose lines agree on a
/// delimiter is a table. Where it cannot be recognized, the content is taken as lines, so that one broken
/// line does not hold the others.
fn text_form(start: &[u8], is_whole: bool, name: &str) -> Result<Form, Failure> {
    if text_encoding::is_utf16(start) {
        return match text_encoding::decode_start(start)
            .trim_start()
            .starts_with(['{', '['])
        {
            false => Ok(Form::TextTable),
            true => Err(Failure::new(
                Kind::Submission,
                format!("cannot load {name}: it is JSON in UTF-16"),
            )
            .mend("save it as UTF-8 and load it again")),
        };
    }
    let start = start.strip_prefix(b"\xef\xbb\xbf").unwrap_or(start);
    if text_table::is_table(start, is_whole) {
        return Ok(Form::TextTable);
    }
    let mut lines = start
        .split(|byte| *byte == b'\n')
        .map(<[u8]>::trim_ascii)
        .filter(|line| !line.is_empty());
    let Some(first) = lines.next() else {
        return Ok(Form::Ndjson);
    };
    if first.starts_with(b"[") {
        return Ok(Form::Json);
    }
    let spread = first.starts_with(b"{")
        && !first.ends_with(b"}")
        && lines
            .next()
            .is_some_and(|second| second.starts_with(b"\"") || second == b"}");
    Ok(if spread { Form::Json } else { Form::Ndjson })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_form_is_told_by_content() {
        let json: [&[u8]; 4] = [
            b"[{}]",
            b"  \n[",
            b"{\n  \"visit_id\": 1",
            b"\xef\xbb\xbf{\r\n\"visit_id\": 1",
        ];
        for content in json {
            assert_eq!(
                text_form(content, true, "file").unwrap(),
                Form::Json,
                "{}",
                content.escape_ascii()
            );
        }
        let lines: [&[u8]; 6] = [
            b"",
            b"{}\n{}",
            b"{\"broken\":\n{}",
            b"garbage\n{}",
            b"{\"visit_id\":\"a\"}",
            b"{\"cut",
        ];
        for content in lines {
            assert_eq!(
                text_form(content, true, "file").unwrap(),
                Form::Ndjson,
                "{}",
                content.escape_ascii()
            );
        }
        let tables: [&[u8]; 4] = [
            b"visit_id,date\na,2026-07-21",
            b"\xef\xbb\xbfField;Area\r\nA;1,5\r\n",
            b"Field\tGr\xf6\xdfe\nA\t1\n",
            b"\xff\xfea\0,\0b\0\n\0",
        ];
        for content in tables {
            assert_eq!(
                text_form(content, true, "file").unwrap(),
                Form::TextTable,
                "{}",
                content.escape_ascii()
            );
        }
        assert!(text_form(b"\xff\xfe{\0}\0", true, "file").is_err());
    }
}
