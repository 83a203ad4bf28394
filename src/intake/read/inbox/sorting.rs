//! What a file of an inbox is before anybody reads it: a submission, a mapping, an archive, a mail, or something that
//! holds no records.
//!
//! A file is passed over only if its name and its content both say that it holds none. Whatever is in doubt counts as a
//! submission, so that it is loaded or refused, and never missed.

use std::io::Read;
use std::path::Path;

use crate::read::inbox::archive::{ZIP_MAGIC, ZipKind, zip_kind};
use crate::read::inbox::mail::is_mail;
use crate::read::text_encoding::decode_start;
use crate::read::text_table::is_table;
use crate::workbook::compound::{self, CompoundFile};
use crate::workbook::package::FILE_BYTES_MAX;
use scouting::failure::Failure;
use scouting::plain_file::{SETTINGS_BYTES_MAX, open_plain, read_plain};

/// How much of a file is looked at.
const LOOK_BYTES: u64 = 64 * 1024;
/// A lock file of an office program holds a name and little else.
const LOCK_BYTES_MAX: u64 = 4 * 1024;
/// Names that promise records or a table: what they hold is a submission, or refused as one.
const RECORD_ENDINGS: [&str; 16] = [
    "csv", "tsv", "tab", "xlsx", "xlsm", "xlsb", "xls", "ods", "json", "ndjson", "jsonl",
    "geojson", "parquet", "gz", "zip", "eml",
];
/// Names of texts that people write for each other.
const TEXT_ENDINGS: [&str; 5] = ["txt", "md", "rst", "text", "rtf"];
/// Names of texts without an ending.
const TEXT_NAMES: [&str; 4] = ["readme", "license", "licence", "notes"];

/// What a file of an inbox is.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Sort {
    /// Records or a table, or what could be.
    Submission,
    /// A mapping file, or one that should be: its text.
    Mapping(String),
    /// An archive of files.
    Archive,
    /// A mail.
    Mail,
    /// It holds no records: what it is.
    Other(&'static str),
}

/// Sorts a file by its name and its content.
///
/// # Errors
/// If it cannot be read, or is a damaged archive.
pub fn sort(path: &Path, file_name: &str) -> Result<Sort, Failure> {
    let unreadable = |error| Failure::file("read", path, error);
    let file = open_plain(path)?;
    let bytes = file.metadata().map_err(unreadable)?.len();
    let mut start = Vec::new();
    file.take(LOOK_BYTES)
        .read_to_end(&mut start)
        .map_err(unreadable)?;
    let name = file_name.to_lowercase();
    let ending = name.rsplit_once('.').map_or("", |(_, ending)| ending);
    if let Some(what) = of_a_program(&name, &start, bytes) {
        return Ok(Sort::Other(what));
    }
    if start.starts_with(ZIP_MAGIC) {
        return Ok(match zip_kind(path, file_name)? {
            ZipKind::Document(what) if !RECORD_ENDINGS.contains(&ending) => Sort::Other(what),
            ZipKind::Document(_) | ZipKind::Workbook => Sort::Submission,
            ZipKind::Archive => Sort::Archive,
        });
    }
    if (ending == "toml" || says_mapping(&start))
        && let Some(sorted) = toml_sort(path, ending, bytes)?
    {
        return Ok(sorted);
    }
    if ending == "eml" || is_mail(&start) {
        return Ok(Sort::Mail);
    }
    if RECORD_ENDINGS.contains(&ending) {
        return Ok(Sort::Submission);
    }
    let other = match start.starts_with(compound::MAGIC) {
        true => compound_kind(path, bytes)?,
        false => kind_of_content(&start).or_else(|| {
            let is_named = TEXT_ENDINGS.contains(&ending) || TEXT_NAMES.contains(&name.as_str());
            (is_named && is_prose(&start, bytes)).then_some("a text")
        }),
    };
    Ok(other.map_or(Sort::Submission, Sort::Other))
}

/// What programs leave in folders: locks, thumbnails, settings of a folder.
fn of_a_program(name: &str, start: &[u8], bytes: u64) -> Option<&'static str> {
    let may_hold_records = start.starts_with(ZIP_MAGIC)
        || start.trim_ascii_start().starts_with(b"{")
        || start.starts_with(b"PAR1");
    if may_hold_records {
        return None;
    }
    match name {
        "thumbs.db" | "ehthumbs.db" => Some("small pictures that a file browser keeps"),
        "desktop.ini" => Some("settings of a folder"),
        ".ds_store" => Some("settings of a folder"),
        name if name.starts_with("~$") && bytes <= LOCK_BYTES_MAX => {
            Some("a lock file of an office program")
        }
        _ => None,
    }
}

/// Whether a line sets the member by which a mapping is known.
fn says_mapping(start: &[u8]) -> bool {
    start.split(|byte| *byte == b'\n').any(|line| {
        let rest = line.trim_ascii_start().strip_prefix(b"mapping");
        rest.is_some_and(|rest| rest.trim_ascii_start().starts_with(b"="))
    })
}

/// A mapping or other TOML; none if the file is no TOML by its name or by its content.
fn toml_sort(path: &Path, ending: &str, bytes: u64) -> Result<Option<Sort>, Failure> {
    if bytes > SETTINGS_BYTES_MAX {
        return Ok(None);
    }
    let Ok(text) = String::from_utf8(read_plain(path, SETTINGS_BYTES_MAX)?) else {
        return Ok(None);
    };
    if says_mapping(text.as_bytes()) {
        return Ok(Some(Sort::Mapping(text)));
    }
    let is_toml = ending == "toml" && toml::from_str::<toml::Table>(&text).is_ok();
    Ok(is_toml.then_some(Sort::Other("TOML that is no mapping")))
}

/// A document in the container of older office programs that is no workbook.
fn compound_kind(path: &Path, bytes: u64) -> Result<Option<&'static str>, Failure> {
    if bytes > FILE_BYTES_MAX {
        return Ok(None);
    }
    let content = read_plain(path, FILE_BYTES_MAX)?;
    let Ok(file) = CompoundFile::read(&content) else {
        return Ok(None);
    };
    Ok(match file.holds("WordDocument") {
        true => Some("a Word document"),
        false if file.holds("PowerPoint Document") => Some("a presentation"),
        false => None,
    })
}

/// Kinds of file that hold no records, by how they begin.
fn kind_of_content(start: &[u8]) -> Option<&'static str> {
    if start.starts_with(b"%PDF") {
        return Some("a PDF");
    }
    if start.starts_with(b"{\\rtf") {
        return Some("a text document");
    }
    match infer::get(start)?.matcher_type() {
        infer::MatcherType::Image => Some("a picture"),
        infer::MatcherType::Video => Some("a film"),
        infer::MatcherType::Audio => Some("a recording"),
        _ => None,
    }
}

/// Whether a text is one that people write for each other: most of its lines neither are records nor agree on cells.
fn is_prose(start: &[u8], bytes: u64) -> bool {
    let text = decode_start(start);
    let lines: Vec<&str> = text
        .lines()
        .filter(|line| !line.trim().is_empty())
        .collect();
    let no_text =
        |letter: char| letter == '\u{fffd}' || (letter.is_control() && !letter.is_whitespace());
    if lines.is_empty() || text.contains(no_text) {
        return false;
    }
    let records = lines
        .iter()
        .filter(|line| line.trim_start().starts_with(['{', '[']));
    if records.count() > 0 || in_columns(&lines) {
        return false;
    }
    !is_table(start, bytes <= start.len() as u64) || !agrees_on_cells(&lines)
}

/// Whether at least half of the lines have the same number of cells, two or more, and one of the cells is a number: a letter
/// has commas in its lines as well.
fn agrees_on_cells(lines: &[&str]) -> bool {
    [',', ';', '\t', '|'].iter().any(|delimiter| {
        let mut widths: Vec<usize> = lines
            .iter()
            .map(|line| line.matches(*delimiter).count())
            .filter(|width| *width > 0)
            .collect();
        widths.sort_unstable();
        let commonest = widths
            .chunk_by(|one, other| one == other)
            .map(<[_]>::len)
            .max();
        let has_number =
            |line: &&str| line.contains(*delimiter) && line.split(*delimiter).any(is_number);
        commonest.is_some_and(|commonest| commonest * 2 >= lines.len())
            && lines.iter().any(has_number)
    })
}

/// A count, an amount, a day or a clock: signs and digits, without letters.
fn is_number(cell: &str) -> bool {
    let cell = cell.trim().trim_matches('"');
    cell.contains(|letter: char| letter.is_ascii_digit())
        && !cell.contains(|letter: char| letter.is_alphabetic() || letter.is_whitespace())
}

/// Whether at least two lines have three columns or more that blanks set apart, with a number: a table typed into a text.
fn in_columns(lines: &[&str]) -> bool {
    let is_row = |line: &&&str| {
        let cells: Vec<&str> = line
            .split("  ")
            .flat_map(|cell| cell.split('\t'))
            .map(str::trim)
            .filter(|cell| !cell.is_empty())
            .collect();
        cells.len() >= 3 && cells.iter().any(|cell| is_number(cell))
    };
    lines.iter().filter(is_row).count() >= 2
}

#[cfg(test)]
mod tests {
    use super::*;

    fn sorted(name: &str, content: &[u8]) -> Sort {
        let folder = tempfile::tempdir().expect("a temporary folder");
        let path = folder.path().join("file");
        std::fs::write(&path, content).expect("written");
        sort(&path, name).expect("a file that can be read")
    }

    #[test]
    fn what_holds_no_records_is_known_by_name_and_content() {
        let jpeg = b"\xff\xd8\xff\xe0\x00\x10JFIF";
        for (name, content, what) in [
            ("photo.jpg", &jpeg[..], "a picture"),
            ("scan", jpeg, "a picture"),
            ("report.pdf", b"%PDF-1.7\n", "a PDF"),
            ("letter.rtf", b"{\\rtf1 text}", "a text document"),
            (
                "README.txt",
                b"Dear all,\nthese are the counts of week 30, as agreed.\nWe go on, as planned.\n",
                "a text",
            ),
            ("settings.toml", b"a = 1\n", "TOML that is no mapping"),
            (
                "~$count.xlsx",
                b"\x05Scout   ",
                "a lock file of an office program",
            ),
            (
                "Thumbs.db",
                b"\x01\x02",
                "small pictures that a file browser keeps",
            ),
            (
                "desktop.ini",
                b"[.ShellClassInfo]\nIcon=a,0\n",
                "settings of a folder",
            ),
        ] {
            assert_eq!(sorted(name, content), Sort::Other(what), "{name}");
        }
    }

    #[test]
    fn what_may_hold_records_is_a_submission_whatever_its_name() {
        let jpeg = b"\xff\xd8\xff\xe0\x00\x10JFIF";
        for (name, content) in [
            ("count.xlsx", &jpeg[..]),
            ("photo.jpg", b"\x00\x01damaged"),
            ("counts.txt", b"Field,Eggs\nA,3\nB,4\n"),
            (
                "counts.txt",
                b"Field   Eggs   Day\nA   3   21\nB   4   22\n",
            ),
            ("notes.txt", b"{\"visit_id\":1}\n"),
            ("~$real.json", b"{\"visit_id\":1}\n"),
            ("report.pdf", b"Field,Eggs\nA,3\n"),
            ("data.bin", b"\x00\x01"),
            ("empty.txt", b""),
            ("a.json", b"{}"),
        ] {
            assert_eq!(sorted(name, content), Sort::Submission, "{name}");
        }
        let mapping = "# ours\nmapping = \"1\"\n";
        assert_eq!(
            sorted("a.toml", mapping.as_bytes()),
            Sort::Mapping(mapping.to_owned())
        );
        assert_eq!(
            sorted("a.txt", mapping.as_bytes()),
            Sort::Mapping(mapping.to_owned())
        );
        assert_eq!(sorted("a.eml", b"Subject: x\nFrom: y\n\n"), Sort::Mail);
    }
}
