//! A workbook that is a zip archive, before its reader sees it: what it declares, what it really unpacks
//! to, and whether its XML is what spreadsheet programs write.
//!
//! The limits of each format are in [`crate::workbook::xlsx_limits`] and [`crate::workbook::ods_limits`].

use std::fs::File;
use std::io::{BufReader, Read, Seek};
use std::path::Path;

use zip::ZipArchive;
use zip::result::ZipError;

use crate::workbook::markup::{self, Refusal, Watch};
use scouting::failure::{Cause, Failure, Kind};

/// Size of a workbook's file.
pub(crate) const FILE_BYTES_MAX: u64 = 64 << 20;
/// Size of one unpacked part,
pub(crate) const PART_BYTES_MAX: u64 = 64 << 20;
/// and of all of them.
const ALL_BYTES_MAX: u64 = 128 << 20;
pub(crate) const PARTS_MAX: usize = 10_000;
/// Begins an entry of the archive's directory.
const ENTRY_MARK: &[u8] = b"PK\x01\x02";

/// What a zip archive is.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum PackageKind {
    /// Office Open XML: XLSX, XLSM.
    Xlsx,
    /// OpenDocument.
    Ods,
}

/// An opened archive with the name that reports use.
pub(crate) struct Package {
    name: String,
    archive: ZipArchive<BufReader<File>>,
}

impl Package {
    /// Opens an archive that declares no more than is read.
    ///
    /// # Errors
    /// If it is no archive, is sealed, or declares too much.
    pub(crate) fn open(path: &Path, name: &str) -> Result<Package, Failure> {
        let refused = |fault| match fault {
            ZipFault::Holds(what) => too_much(name, &what),
            ZipFault::Damaged(error) => damaged(name, error),
            ZipFault::Unreadable(error) => Failure::file("read", path, error),
        };
        let mut archive = open_zip(path).map_err(refused)?;
        for index in 0..archive.len() {
            let part = archive.by_index_raw(index);
            if part.map_err(|error| damaged(name, error))?.encrypted() {
                return Err(sealed(name));
            }
        }
        check_declared(&mut archive).map_err(refused)?;
        Ok(Package {
            name: name.to_owned(),
            archive,
        })
    }

    /// What it is, by its parts.
    ///
    /// # Errors
    /// If it is no workbook that is read here.
    pub(crate) fn kind(&self) -> Result<PackageKind, Failure> {
        let has = |wanted: &str| {
            let mut names = self.archive.file_names();
            names.any(|part| {
                part.is_ok_and(|part| part.replace('\\', "/").eq_ignore_ascii_case(wanted))
            })
        };
        if has("encrypted-package") {
            return Err(sealed(&self.name));
        }
        if has("xl/workbook.bin") {
            return Err(no_workbook(&self.name, "a binary workbook (XLSB)"));
        }
        if has("word/document.xml") {
            return Err(no_workbook(&self.name, "a Word document"));
        }
        if has("[Content_Types].xml") && has("xl/workbook.xml") {
            return Ok(PackageKind::Xlsx);
        }
        if has("mimetype") && has("content.xml") {
            return Ok(PackageKind::Ods);
        }
        Err(no_workbook(&self.name, "a zip archive that is no workbook"))
    }

    /// One part, unpacked.
    ///
    /// # Errors
    /// If there is none of this name, or it is longer than this many bytes.
    pub(crate) fn part(&mut self, part_name: &str, bytes_max: u64) -> Result<Vec<u8>, Failure> {
        let part = self
            .archive
            .by_name(part_name)
            .map_err(|error| damaged(&self.name, error))?;
        let mut bytes = Vec::new();
        part.take(bytes_max + 1)
            .read_to_end(&mut bytes)
            .map_err(|error| damaged(&self.name, error))?;
        if bytes.len() as u64 > bytes_max {
            let what = format!("a part {part_name} of more than {bytes_max} bytes");
            return Err(too_much(&self.name, &what));
        }
        Ok(bytes)
    }

    /// Lets the watch see every part whose name it asks for, unpacked as far as is declared.
    ///
    /// # Errors
    /// With the first thing that is refused.
    pub(crate) fn watch_parts(
        &mut self,
        wants: impl Fn(&str) -> bool,
        watch: &mut dyn PartWatch,
    ) -> Result<(), Failure> {
        for index in 0..self.archive.len() {
            let part = self
                .archive
                .by_index(index)
                .map_err(|error| damaged(&self.name, error))?;
            let part_name = part
                .name()
                .map_err(|error| damaged(&self.name, error))?
                .into_owned();
            if !wants(&part_name) {
                continue;
            }
            watch.begin(&part_name);
            // The archive's reader fails if a part is longer than was declared.
            let mut content = BufReader::with_capacity(64 * 1024, part);
            markup::read(&mut content, watch.as_watch())
                .map_err(|refusal| refuse(&self.name, &part_name, refusal))?;
        }
        Ok(())
    }
}

/// A watch that is given the name of the part it sees.
pub(crate) trait PartWatch: Watch {
    /// The next tags are of this part.
    fn begin(&mut self, part: &str);
    /// The same as a watch of tags.
    fn as_watch(&mut self) -> &mut dyn Watch;
}

/// Why a zip archive is not opened.
pub(crate) enum ZipFault {
    /// It holds more than is read, in words.
    Holds(String),
    /// It is no archive, or a damaged one.
    Damaged(ZipError),
    /// The system cannot read the file.
    Unreadable(std::io::Error),
}

/// Opens a zip archive of no more bytes and entries than are read.
pub(crate) fn open_zip(path: &Path) -> Result<ZipArchive<BufReader<File>>, ZipFault> {
    let mut file = File::open(path).map_err(ZipFault::Unreadable)?;
    let bytes = file.metadata().map_err(ZipFault::Unreadable)?.len();
    if bytes > FILE_BYTES_MAX {
        let what = format!("{bytes} bytes, more than {FILE_BYTES_MAX}");
        return Err(ZipFault::Holds(what));
    }
    // The archive's reader makes room for every entry, so they are counted before it is called.
    let entries = count_entries(&mut file).map_err(ZipFault::Unreadable)?;
    if entries > PARTS_MAX {
        let what = format!("{entries} parts, more than {PARTS_MAX}");
        return Err(ZipFault::Holds(what));
    }
    file.rewind().map_err(ZipFault::Unreadable)?;
    ZipArchive::new(BufReader::new(file)).map_err(ZipFault::Damaged)
}

/// Refuses an archive that says itself that it unpacks to more than is read.
pub(crate) fn check_declared(archive: &mut ZipArchive<BufReader<File>>) -> Result<(), ZipFault> {
    let mut all = 0_u64;
    for index in 0..archive.len() {
        let part = archive.by_index_raw(index).map_err(ZipFault::Damaged)?;
        all = all.saturating_add(part.size());
        if part.size() > PART_BYTES_MAX || all > ALL_BYTES_MAX {
            return Err(ZipFault::Holds(format!(
                "parts that unpack to {all} bytes or more (at most {PART_BYTES_MAX} one, {ALL_BYTES_MAX} in all)"
            )));
        }
    }
    Ok(())
}

/// How often the mark of a directory entry occurs in the file: at least the number of entries.
fn count_entries(file: &mut File) -> std::io::Result<usize> {
    let mut block = vec![0; 256 * 1024];
    let (mut kept, mut entries) = (0, 0);
    loop {
        let read = file.read(&mut block[kept..])?;
        if read == 0 {
            return Ok(entries);
        }
        let end = kept + read;
        entries += markup::occurrences(ENTRY_MARK, &block[..end]);
        // A mark can extend across two blocks.
        kept = end.min(ENTRY_MARK.len() - 1);
        block.copy_within(end - kept..end, 0);
    }
}

fn refuse(name: &str, part: &str, refusal: Refusal) -> Failure {
    match refusal {
        Refusal::Password => sealed(name),
        Refusal::Holds(what) => too_much(name, &what).at(format!("part {part}")),
        Refusal::Unreadable(error) => damaged(name, error).at(format!("part {part}")),
    }
}

/// A workbook that cannot be read because it is sealed.
pub(crate) fn sealed(name: &str) -> Failure {
    Failure::new(
        Kind::Submission,
        format!("cannot load {name}: the workbook is protected with a password"),
    )
    .mend("open it with its password, save it without one and submit it again")
}

/// A workbook that its reader cannot make sense of.
pub(crate) fn damaged(name: &str, error: impl Into<Cause>) -> Failure {
    Failure::because(
        Kind::Submission,
        format!("cannot load {name}: the workbook cannot be read"),
        error,
    )
    .mend("open it in a spreadsheet program, save it as XLSX and submit that")
}

/// A workbook that holds more, or other things, than is read.
pub(crate) fn too_much(name: &str, what: &str) -> Failure {
    crate::sheet::grid::refused(name, what)
        .mend("copy the table into a new workbook, save it as XLSX or CSV and submit that")
}

/// A file that is no workbook of a kind that is read.
pub(crate) fn no_workbook(name: &str, what: &str) -> Failure {
    Failure::new(
        Kind::Submission,
        format!("cannot load {name}: it is {what}"),
    )
    .mend("submit JSON, NDJSON, CSV, XLSX, XLS, ODS or Parquet; unpack an archive first")
}
