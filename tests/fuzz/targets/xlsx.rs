//! Workbooks: zip archives as they come, and archives made of parts that the input spells out.
//!
//! A changed byte in a zip archive is mostly found by its checksum, and so nothing behind it would ever be reached. So an
//! input that does not begin as an archive is a list of parts: a line `=== xl/workbook.xml`, then the part.

use std::io::{Cursor, Write};

use intake::read::submitted::Form;
use zip::write::SimpleFileOptions;
use zip::{CompressionMethod, ZipWriter};

use super::csv::look_at_sheets;
use super::desk::submission;

/// Parts that are put into an archive.
const PARTS_MAX: usize = 40;

/// Looks at one workbook.
pub fn look(bytes: &[u8]) {
    let packed = match bytes.starts_with(b"PK") {
        true => Some(bytes.to_vec()),
        false => archive(bytes),
    };
    let Some(file) = packed.and_then(|packed| submission(&packed)) else {
        return;
    };
    if matches!(file.form, Form::Xlsx | Form::Ods) {
        look_at_sheets(&file);
    }
}

/// The parts as an archive; nothing if a name cannot stand in one.
pub(super) fn archive(bytes: &[u8]) -> Option<Vec<u8>> {
    let text = String::from_utf8_lossy(bytes);
    let mut archive = ZipWriter::new(Cursor::new(Vec::new()));
    let options = SimpleFileOptions::default().compression_method(CompressionMethod::Stored);
    for part in text.split("=== ").skip(1).take(PARTS_MAX) {
        let (name, content) = part.split_once('\n')?;
        archive.start_file(name.trim(), options).ok()?;
        archive.write_all(content.as_bytes()).ok()?;
    }
    Some(archive.finish().ok()?.into_inner())
}
