//! The files in a zip archive, unpacked into a folder under their numbers.
//!
//! No name in the archive becomes a path, so none can lead out of the folder. The limits are those of workbooks.

use std::fs::File;
use std::io::{BufReader, Read};
use std::path::{Path, PathBuf};

use zip::ZipArchive;

use crate::read::inbox::inner_file::{Content, InnerFile, shown_name};
use crate::workbook::package::{PART_BYTES_MAX, ZipFault, check_declared, open_zip};
use scouting::failure::{Failure, Kind};

/// Begins a zip archive that has an entry.
pub(crate) const ZIP_MAGIC: &[u8] = b"PK\x03\x04";
/// Bytes of the entry by which an OpenDocument file says what it is.
const MIMETYPE_BYTES: u64 = 128;

/// What a zip file is, by the names in it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum ZipKind {
    /// A workbook, perhaps a sealed one.
    Workbook,
    /// A document that is no workbook, in words.
    Document(&'static str),
    /// Files that somebody packed.
    Archive,
}

/// Says what a zip file is.
///
/// # Errors
/// If it is damaged or holds more than is read.
pub fn zip_kind(path: &Path, name: &str) -> Result<ZipKind, Failure> {
    let mut archive = open_zip(path).map_err(|fault| refused(name, path, fault))?;
    let names: Vec<String> = archive
        .file_names()
        .filter_map(Result::ok)
        .map(|entry| entry.replace('\\', "/").to_ascii_lowercase())
        .collect();
    let has = |wanted: &str| names.iter().any(|entry| entry == wanted);
    if has("mimetype") && has("content.xml") {
        let mut mimetype = String::new();
        if let Ok(entry) = archive.by_name("mimetype") {
            // What cannot be read here is refused when the workbook is read.
            let _ = entry.take(MIMETYPE_BYTES).read_to_string(&mut mimetype);
        }
        return Ok(match mimetype.contains("opendocument.text") {
            true => ZipKind::Document("a text document"),
            false => ZipKind::Workbook,
        });
    }
    Ok(if has("word/document.xml") {
        ZipKind::Document("a Word document")
    } else if has("ppt/presentation.xml") {
        ZipKind::Document("a presentation")
    } else if has("encrypted-package") || has("xl/workbook.xml") || has("xl/workbook.bin") {
        ZipKind::Workbook
    } else {
        ZipKind::Archive
    })
}

/// Unpacks the files of an archive into a folder that is empty.
///
/// # Errors
/// If the archive as a whole cannot be read, holds too much, or has two files of one name; a single file that cannot be
/// unpacked is refused alone.
pub fn unpack_zip(path: &Path, name: &str, into: &Path) -> Result<Vec<InnerFile>, Failure> {
    let mut archive = open_zip(path).map_err(|fault| refused(name, path, fault))?;
    check_declared(&mut archive).map_err(|fault| refused(name, path, fault))?;
    if archive.has_duplicate_names() {
        return Err(cannot_open(name, "two of its files have the same name")
            .mend("unpack it, give each file a name of its own, and load the folder"));
    }
    let mut files = Vec::new();
    for index in 0..archive.len() {
        let raw = archive
            .by_index_raw(index)
            .map_err(|error| refused(name, path, ZipFault::Damaged(error)))?;
        if raw.is_dir() {
            continue;
        }
        let entry_name = raw
            .name()
            .map_err(|error| refused(name, path, ZipFault::Damaged(error)))?
            .into_owned();
        let why = if raw.enclosed_name().is_none() {
            Some(("its name leads out of the archive", "rename it"))
        } else if raw.is_symlink() {
            Some(("it is a link", "pack the file itself"))
        } else if raw.encrypted() {
            Some((
                "it is protected with a password",
                "unpack it with its password",
            ))
        } else {
            None
        };
        drop(raw);
        let entry_name = shown_name(&entry_name);
        let content = match why {
            Some((what, mend)) => Content::Refused(
                cannot_open(&format!("{name}/{entry_name}"), what)
                    .mend(format!("{mend}, and load the file again")),
            ),
            None => unpack_entry(&mut archive, index, into).map_or_else(
                |what| Content::Refused(entry_damaged(&format!("{name}/{entry_name}"), &what)),
                Content::Unpacked,
            ),
        };
        files.push(InnerFile {
            name: entry_name,
            content,
        });
    }
    Ok(files)
}

/// Unpacks one file under its number; in words why it cannot be unpacked.
fn unpack_entry(
    archive: &mut ZipArchive<BufReader<File>>,
    index: usize,
    into: &Path,
) -> Result<PathBuf, String> {
    let place = into.join(index.to_string());
    let entry = archive.by_index(index).map_err(|error| error.to_string())?;
    let mut file = File::create_new(&place).map_err(|error| error.to_string())?;
    // The archive's reader fails where an entry goes on beyond what it declares; this is for the case that it does not.
    let mut bounded = entry.take(PART_BYTES_MAX + 1);
    let bytes = std::io::copy(&mut bounded, &mut file).map_err(|error| error.to_string())?;
    match bytes > PART_BYTES_MAX {
        true => Err(format!("it unpacks to more than {PART_BYTES_MAX} bytes")),
        false => Ok(place),
    }
}

fn refused(name: &str, path: &Path, fault: ZipFault) -> Failure {
    match fault {
        ZipFault::Holds(what) => cannot_open(name, &format!("it holds {what}"))
            .mend("unpack it and load the folder, or pack fewer files into one archive"),
        ZipFault::Damaged(error) => entry_damaged(name, &error.to_string()),
        ZipFault::Unreadable(error) => Failure::file("read", path, error),
    }
}

fn entry_damaged(name: &str, error: &str) -> Failure {
    cannot_open(name, error).mend("was it sent whole? ask for it again; nothing of it was loaded")
}

fn cannot_open(name: &str, what: &str) -> Failure {
    Failure::new(Kind::Submission, format!("cannot unpack {name}: {what}"))
}

#[cfg(test)]
mod tests {
    use std::io::{Cursor, Write};

    use zip::ZipWriter;
    use zip::write::SimpleFileOptions;

    use super::*;

    fn packed(files: &[(&str, &[u8])]) -> Vec<u8> {
        let mut zip = ZipWriter::new(Cursor::new(Vec::new()));
        for (name, content) in files {
            zip.start_file(*name, SimpleFileOptions::default())
                .expect("an entry");
            zip.write_all(content).expect("its content");
        }
        zip.finish().expect("an archive").into_inner()
    }

    fn unpacked(bytes: &[u8]) -> Result<Vec<(String, String)>, Failure> {
        let folder = tempfile::tempdir().expect("a temporary folder");
        let path = folder.path().join("a.zip");
        std::fs::write(&path, bytes).expect("written");
        let into = folder.path().join("into");
        std::fs::create_dir(&into).expect("a folder");
        let files = unpack_zip(&path, "a.zip", &into)?;
        let shown = files.into_iter().map(|file| {
            let content = match file.content {
                Content::Unpacked(path) => std::fs::read_to_string(path).expect("text"),
                Content::Refused(failure) => failure.to_string(),
                Content::Letter => "a letter".to_owned(),
            };
            (file.name, content)
        });
        Ok(shown.collect())
    }

    #[test]
    fn files_are_unpacked_under_numbers_and_names_that_lead_out_are_refused() {
        let files = unpacked(&packed(&[
            ("inner/a.csv", b"a,b\n1,2\n"),
            ("../../out.csv", b"x"),
            ("/etc/out.csv", b"x"),
        ]))
        .expect("an archive");
        assert_eq!(
            files[0],
            ("inner/a.csv".to_owned(), "a,b\n1,2\n".to_owned())
        );
        assert!(files[1].1.contains("leads out of the archive"), "{files:?}");
        assert_eq!(files.len(), 3);
    }

    #[test]
    fn a_damaged_archive_is_refused_in_words() {
        let whole = packed(&[("a.csv", &[b'x'; 4_000])]);
        let refused = unpacked(&whole[..whole.len() / 2]).expect_err("cut off");
        assert!(
            refused.to_string().contains("cannot unpack a.zip"),
            "{refused}"
        );
    }
}
