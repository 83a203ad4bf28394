//! What an Office Open XML workbook may hold, judged from its tags before its reader sees it.
//!
//! The reader of workbooks makes room for as many texts as a count in the file says, keeps a style with
//! all its names for every format, follows any number of sheets to the same part, and takes a cell far beyond
//! the largest sheet for another one.

use std::collections::HashSet;

use crate::sheet::grid::{CELLS_MAX, MERGES_MAX};
use crate::workbook::markup::{Refusal, Tag, Watch};
use crate::workbook::package::PartWatch;

/// The number of cell formats that the programs themselves allow (Excel specifications and limits:
/// 65,490 unique cell formats), rounded up.
const FORMATS_MAX: usize = 65_536;
/// A style's texts are copied for each format that uses it.
const STYLE_TAG_BYTES_MAX: usize = 2_048;
const SHEETS_MAX: usize = 1_000;
/// The largest sheet (Excel specifications and limits: 1,048,576 rows by 16,384 columns).
const SHEET_ROWS: u32 = 1_048_576;
const SHEET_COLUMNS: u32 = 16_384;

/// What a message quotes of a range, in characters.
const QUOTE_LENGTH_MAX: usize = 40;

/// Counts over all parts of a workbook.
#[derive(Default)]
pub(crate) struct XlsxLimits {
    part: String,
    cells: usize,
    rows: usize,
    texts: usize,
    merges: usize,
    formats: usize,
    sheets: HashSet<String>,
    targets: HashSet<String>,
}

/// Whether a part is XML that the reader may open.
pub(crate) fn is_markup(part: &str) -> bool {
    let part = part.to_ascii_lowercase();
    part.ends_with(".xml") || part.ends_with(".rels")
}

impl PartWatch for XlsxLimits {
    fn begin(&mut self, part: &str) {
        self.part = part.to_ascii_lowercase();
        self.sheets.clear();
        self.targets.clear();
    }

    fn as_watch(&mut self) -> &mut dyn Watch {
        self
    }
}

impl Watch for XlsxLimits {
    fn open(&mut self, tag: &Tag) -> Result<(), Refusal> {
        if tag.depth > 0
            && self.part.ends_with("styles.xml")
            && tag.inside().len() > STYLE_TAG_BYTES_MAX
        {
            return Err(Refusal::holds("a style with a name longer than any name"));
        }
        let name = tag.name();
        match name {
            "c" | "row" => believable_ranges(tag, "r")?,
            "dimension" | "f" | "mergeCell" => believable_ranges(tag, "ref")?,
            _ => {}
        }
        match name {
            "c" => count(&mut self.cells, CELLS_MAX, "cells"),
            "row" => count(&mut self.rows, CELLS_MAX, "rows"),
            "si" => count(&mut self.texts, CELLS_MAX, "texts"),
            "mergeCell" => count(&mut self.merges, MERGES_MAX, "merged ranges"),
            "xf" => count(&mut self.formats, FORMATS_MAX, "cell formats"),
            "sst" => believable_counts(tag),
            "sheet" => self.sheet(tag),
            "Relationship" => self.relationship(tag),
            _ => Ok(()),
        }
    }

    fn close(&mut self, _name: &str) -> Result<(), Refusal> {
        Ok(())
    }

    fn text(&mut self, _bytes: usize) -> Result<(), Refusal> {
        Ok(())
    }
}

impl XlsxLimits {
    fn sheet(&mut self, tag: &Tag) -> Result<(), Refusal> {
        for named in tag.values("id") {
            if !self.sheets.insert(named.to_owned()) {
                return Err(same_part());
            }
        }
        if self.sheets.len() > SHEETS_MAX {
            return Err(Refusal::holds(format!("more than {SHEETS_MAX} sheets")));
        }
        Ok(())
    }

    /// The reader opens the parts that relationships name, so these must be parts that were watched.
    fn relationship(&mut self, tag: &Tag) -> Result<(), Refusal> {
        let is = |end: &str| tag.values("Type").any(|kind| kind.ends_with(end));
        for target in tag.values("Target") {
            if is("/worksheet") && !self.targets.insert(target.to_ascii_lowercase()) {
                return Err(same_part());
            }
            if (is("sheet") || is("/officeDocument")) && !is_markup(target) {
                return Err(Refusal::holds("a sheet in a part that is not named .xml"));
            }
        }
        Ok(())
    }
}

fn same_part() -> Refusal {
    Refusal::holds("two sheets that are the same part")
}

fn count(counter: &mut usize, limit: usize, what: &str) -> Result<(), Refusal> {
    *counter += 1;
    if *counter > limit {
        return Err(Refusal::holds(format!("more than {limit} {what}")));
    }
    Ok(())
}

/// The reader makes room for as many texts as the table of texts says it has.
fn believable_counts(tag: &Tag) -> Result<(), Refusal> {
    let numbers = tag
        .attributes()
        .filter(|(name, _)| name.eq_ignore_ascii_case("uniqueCount"))
        .filter_map(|(_, value)| value.trim().parse::<u128>().ok());
    match numbers.max() {
        Some(number) if number > CELLS_MAX as u128 => Err(Refusal::holds(format!(
            "a table that claims {number} texts, more than {CELLS_MAX}"
        ))),
        _ => Ok(()),
    }
}

/// The reader calculates with places as given: one beyond the largest sheet comes round to another cell, and a range
/// that ends before it begins has a size below 0.
fn believable_ranges(tag: &Tag, name: &str) -> Result<(), Refusal> {
    for range in tag.values(name) {
        let (first, last) = range.split_once(':').unwrap_or((range, range));
        let is_one = corner(first)
            .zip(corner(last))
            .is_some_and(|(first, last)| first.0 <= last.0 && first.1 <= last.1);
        if !is_one {
            let shown: String = range.chars().take(QUOTE_LENGTH_MAX).collect();
            return Err(Refusal::holds(format!(
                "a range that no sheet has, {shown:?}"
            )));
        }
    }
    Ok(())
}

/// Row and column of a place as `C7`, both from 1; column 0 where only a row is given.
fn corner(place: &str) -> Option<(u32, u32)> {
    let letters = place.bytes().take_while(u8::is_ascii_alphabetic).count();
    let (letters, digits) = place.split_at(letters);
    let is_number = digits.bytes().all(|digit| digit.is_ascii_digit());
    let row = digits.parse().ok().filter(|_| is_number)?;
    let number = |letter: u8| u32::from(letter.to_ascii_uppercase() - b'A') + 1;
    let column = letters.bytes().try_fold(0_u32, |column, letter| {
        column.checked_mul(26)?.checked_add(number(letter))
    })?;
    ((1..=SHEET_ROWS).contains(&row) && column <= SHEET_COLUMNS).then_some((row, column))
}
