//! A text file that is a table: CSV, TSV and their kin as one sheet.
//!
//! All its cells are text: decimal commas and dates are the mapping's business.

use std::io::Read;

use csv::{ReaderBuilder, StringRecord};

use crate::read::submitted::SubmittedFile;
use crate::read::text_encoding::{decode, decode_start};
use crate::sheet::grid::{Allowance, Grid, refused};
use crate::sheet::table::{Cell, Sheet};
use scouting::failure::{Failure, Kind};

/// Size of a text table, unpacked.
const FILE_BYTES_MAX: usize = 64 << 20;
/// Memory that the sheet may take in addition to the text.
const SHEET_BYTES_MAX: usize = 128 << 20;
/// Rows that are looked at to tell the delimiter,
const LOOK_ROWS: usize = 100;
/// in no more text than this.
const LOOK_BYTES: usize = 256 << 10;
/// What separates cells, in the order in which a tie is decided: a comma is also in numbers and sentences.
const DELIMITERS: [u8; 4] = [b'\t', b'|', b';', b','];

/// Reads a text table as one sheet without a name.
///
/// # Errors
/// If it holds what is no character, more than is read, or a quotation mark that is never closed.
pub(crate) fn read_text_table(file: &SubmittedFile) -> Result<Vec<Sheet>, Failure> {
    let text = text_of(file, FILE_BYTES_MAX)?;
    Ok(vec![sheet_of(&text, &file.name)?])
}

/// The text of a file of at most so many bytes, unpacked, which is read whole.
///
/// # Errors
/// If it is larger than what is read of a table, or holds what is no character.
pub(crate) fn text_of(file: &SubmittedFile, bytes_max: usize) -> Result<String, Failure> {
    let too_large = || {
        let what = format!("more than {} MiB", bytes_max >> 20);
        refused(&file.name, &what).mend("split the file")
    };
    if file.bytes > bytes_max as u64 {
        return Err(too_large());
    }
    let mut bytes = Vec::new();
    file.open()?
        .take(bytes_max as u64 + 1)
        .read_to_end(&mut bytes)
        .map_err(|error| Failure::file("read", &file.path, error))?;
    if bytes.len() > bytes_max {
        return Err(too_large());
    }
    decode(bytes, &file.name)
}

/// Whether the beginning of a file is that of a table: the same delimiter in at least two lines, and
/// nothing that looks like JSON.
pub(crate) fn is_table(start: &[u8], is_whole: bool) -> bool {
    let text = decode_start(start);
    let text = match text.rfind(['\n', '\r']) {
        Some(end) if !is_whole => &text[..end],
        _ => &text[..],
    };
    let json = |line: &str| line.trim_start().starts_with(['{', '[']);
    if text.lines().take(LOOK_ROWS).any(json) {
        return false;
    }
    named_delimiter(text).is_some() || delimiter(text).is_some()
}

fn sheet_of(text: &str, name: &str) -> Result<Sheet, Failure> {
    let (delimiter, start) = match named_delimiter(text) {
        Some((delimiter, start)) => (delimiter, start),
        None => (delimiter(text).unwrap_or(b','), 0),
    };
    let mut allowance = Allowance::new(name, SHEET_BYTES_MAX);
    let mut grid = Grid::new("", &mut allowance);
    let mut reader = reader(&text[start..], delimiter);
    let mut record = StringRecord::new();
    let mut lines = Lines {
        text,
        at: start,
        // Programs that know the line that names the delimiter do not show it as a row.
        line: 1,
    };
    let mut last_row = (start, false);
    while reader
        .read_record(&mut record)
        .map_err(|error| unreadable(name, error))?
    {
        // The parser skips blank lines without a word; they are rows too.
        while lines.skip_end() {
            grid.push(lines.line - 1, Vec::new())?;
        }
        grid.push(lines.line, record.iter().map(cell_of).collect())?;
        let in_last_cell = |cell: &str| cell.contains('\n');
        last_row = (
            lines.at,
            record.iter().next_back().is_some_and(in_last_cell),
        );
        lines.go_to(start + reader.position().byte() as usize);
    }
    let (last_start, goes_on) = last_row;
    // A quotation mark that is never closed swallows all the rows after it.
    if goes_on && text[last_start..].matches('"').count() % 2 == 1 {
        return Err(never_closed(name, &grid.last_place()));
    }
    Ok(grid.finish())
}

fn cell_of(text: &str) -> Cell {
    match text {
        "" => Cell::Empty,
        text => Cell::Text(text.to_owned()),
    }
}

fn reader(text: &str, delimiter: u8) -> csv::Reader<&[u8]> {
    ReaderBuilder::new()
        .delimiter(delimiter)
        .has_headers(false)
        .flexible(true)
        .from_reader(text.as_bytes())
}

/// `sep=;` in the first line, as some programs write it, and where the next line begins.
fn named_delimiter(text: &str) -> Option<(u8, usize)> {
    let first = text.lines().next()?;
    let named = first.trim_matches('"').strip_prefix("sep=")?;
    let delimiter = *named.as_bytes().first()?;
    let end = text.find('\n').map_or(text.len(), |end| end + 1);
    (named.len() == 1 && DELIMITERS.contains(&delimiter)).then_some((delimiter, end))
}

/// The delimiter that gives most rows the same number of cells; none without two such rows.
fn delimiter(text: &str) -> Option<u8> {
    let text = match text.get(..text.floor_char_boundary(LOOK_BYTES)) {
        Some(start) if start.len() < text.len() => {
            start.rfind(['\n', '\r']).map_or(start, |end| &start[..end])
        }
        _ => text,
    };
    DELIMITERS
        .into_iter()
        .map(|delimiter| (agreement(text, delimiter), delimiter))
        .filter(|((rows, _), _)| *rows >= 2)
        // The first of equals: `max_by_key` alone would take the last.
        .rev()
        .max_by_key(|(agreement, _)| *agreement)
        .map(|(_, delimiter)| delimiter)
}

/// How many rows have the commonest number of cells above one, and how many have more than one at all.
fn agreement(text: &str, delimiter: u8) -> (usize, usize) {
    let mut widths: Vec<usize> = reader(text, delimiter)
        .byte_records()
        .take(LOOK_ROWS)
        .filter_map(|record| record.ok().map(|record| record.len()))
        .filter(|width| *width > 1)
        .collect();
    widths.sort_unstable();
    let commonest = widths
        .chunk_by(|one, other| one == other)
        .map(<[_]>::len)
        .max();
    (commonest.unwrap_or(0), widths.len())
}

/// A walk over the lines of a text.
struct Lines<'a> {
    text: &'a str,
    at: usize,
    line: u64,
}

impl Lines<'_> {
    fn go_to(&mut self, end: usize) {
        while self.at < end {
            if !self.skip_end() {
                self.at += 1;
            }
        }
    }

    /// Steps over one line's end, if one is here: `\n`, `\r\n` or `\r`.
    fn skip_end(&mut self) -> bool {
        let rest = &self.text.as_bytes()[self.at..];
        let end = match rest {
            [b'\r', b'\n', ..] => 2,
            [b'\r' | b'\n', ..] => 1,
            _ => return false,
        };
        self.at += end;
        self.line += 1;
        true
    }
}

fn never_closed(name: &str, place: &str) -> Failure {
    Failure::new(
        Kind::Submission,
        format!("cannot read {name}: a quotation mark is opened and never closed"),
    )
    .at(format!("the row that begins in {place}"))
    .mend("close it, or write \"\" for a quotation mark within a quoted cell")
}

fn unreadable(name: &str, error: csv::Error) -> Failure {
    Failure::because(Kind::Submission, format!("cannot read {name}"), error)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn rows(text: &str) -> Vec<(u64, Vec<String>)> {
        let sheet = sheet_of(text, "file").unwrap();
        let shown = |cell: Cell| match cell {
            Cell::Empty => "-".to_owned(),
            Cell::Text(text) => text,
            other => panic!("a text table has no {other:?}"),
        };
        let rows = sheet.rows.into_iter();
        rows.map(|row| (row.number, row.cells.into_iter().map(shown).collect()))
            .collect()
    }

    fn row(number: u64, cells: &[&str]) -> (u64, Vec<String>) {
        (
            number,
            cells.iter().map(|cell| (*cell).to_owned()).collect(),
        )
    }

    #[test]
    fn the_delimiter_is_the_one_that_rows_agree_on() {
        let cases = [
            ("Field,Date\nA,2026-07-21\n", b','),
            ("Field;Area;Cost\nA;12,5;8,00\nB;3,0;9,50\n", b';'),
            ("Field\tRemark\nA\tdry, windy; hot\n", b'\t'),
            ("Field|Eggs\nA|3\n", b'|'),
            (
                "Week 30, north; all sheets\n\nField;Eggs;By\nA;3;x\nB;4;y\n",
                b';',
            ),
            (
                "Field,Remark\nA,\"one; two; three\"\nB,\"four; five; six\"\n",
                b',',
            ),
        ];
        for (text, expected) in cases {
            assert_eq!(
                delimiter(text).map(char::from),
                Some(expected.into()),
                "{text}"
            );
            assert!(is_table(text.as_bytes(), true), "{text}");
        }
    }

    #[test]
    fn what_is_no_table_is_not_taken_for_one() {
        let cases = [
            "",
            "garbage\n{}",
            "{\"a\": 1, \"b\": 2}\n{\"a\": 1, \"b\": 2}\n",
            "note, first\n{\"a\": 1, \"b\": 2}\n{\"a\": 1, \"b\": 2}\n",
            "one line, with a comma\n",
            "no\ndelimiter\nat all\n",
        ];
        for text in cases {
            assert!(!is_table(text.as_bytes(), true), "{text}");
        }
        assert!(is_table(b"sep=;\nField;Eggs\n", true));
    }

    #[test]
    fn rows_keep_their_numbers_and_their_raggedness() {
        let text = "Title\r\n\r\nField,Eggs\r\nA,3,,\r\n,,\r\n\r\nB\r\n\r\n";
        assert_eq!(
            rows(text),
            [
                row(1, &["Title"]),
                row(2, &[]),
                row(3, &["Field", "Eggs"]),
                row(4, &["A", "3"]),
                row(5, &[]),
                row(6, &[]),
                row(7, &["B"])
            ]
        );
        assert_eq!(
            rows("\n\na,b\rc,d\r"),
            [
                row(1, &[]),
                row(2, &[]),
                row(3, &["a", "b"]),
                row(4, &["c", "d"])
            ]
        );
    }

    #[test]
    fn quoted_cells_hold_delimiters_lines_and_quotation_marks() {
        let text = "Field,Remark\nA,\"dry, \"\"very\"\"\nand hot\"\n\nB, padded \n";
        assert_eq!(
            rows(text),
            [
                row(1, &["Field", "Remark"]),
                row(2, &["A", "dry, \"very\"\nand hot"]),
                row(4, &[]),
                row(5, &["B", " padded "])
            ]
        );
    }

    #[test]
    fn a_first_line_that_names_the_delimiter_is_no_row() {
        assert_eq!(
            rows("sep=;\r\nField;Area\r\nA;1,5\r\n"),
            [row(1, &["Field", "Area"]), row(2, &["A", "1,5"])]
        );
    }

    #[test]
    fn a_quotation_mark_that_is_never_closed_is_refused() {
        let failure = sheet_of("Field,Remark\nA,\"dry\nB,hot\n", "file").unwrap_err();
        let failure = failure.to_string();
        assert!(
            failure.contains("never closed") && failure.contains("line 2"),
            "{failure}"
        );
        assert_eq!(rows("Field,Row\nA,5\"\n")[1], row(2, &["A", "5\""]));
    }

    #[test]
    fn too_much_is_refused_with_its_number() {
        let wide = ",".repeat(2_000) + "x";
        let long = format!("a,b\n{},c", "x".repeat((1 << 20) + 1));
        for (text, number) in [(wide, "2000 cells"), (long, "1048577 bytes")] {
            let failure = sheet_of(&text, "file").unwrap_err().to_string();
            assert!(failure.contains(number), "{failure}");
        }
    }
}
