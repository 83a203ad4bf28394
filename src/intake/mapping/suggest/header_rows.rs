//! The rows of a sheet that hold its header, and the names that they give to its columns.

use super::known_headers::{Named, is_derived, known_as};
use super::repeats::shape_of;
use crate::mapping::layout::sheets::joined_header;
use crate::mapping::names::{content, folded, is_blank};
use crate::sheet::table::{Cell, Row, Sheet};

/// Rows that are searched for the header.
const SEARCH_ROWS: usize = 50;
/// A row without known headers is one if it holds so many different texts.
const TEXTS_MIN: usize = 3;

/// The header of a sheet.
#[derive(Debug, Clone)]
pub(super) struct Header {
    /// Numbers of its rows.
    pub rows: Vec<u64>,
    /// The name over each column.
    pub columns: Vec<Heading>,
}

/// What is over a column.
#[derive(Debug, Clone)]
pub(super) struct Heading {
    /// The texts of all header rows.
    pub name: String,
    /// The text of the last row that has one.
    pub last: String,
}

impl Header {
    /// The header of a sheet, if it seems to have one.
    pub(super) fn of(sheet: &Sheet) -> Option<Header> {
        let rows: Vec<&Row> = sheet.rows.iter().take(SEARCH_ROWS).collect();
        let score = |row: &Row| (known(row), texts(row));
        let (place, best) = rows
            .iter()
            .enumerate()
            .max_by_key(|(_, row)| (score(row), std::cmp::Reverse(row.number)))?;
        if known(best) < 2 && texts(best) < TEXTS_MIN {
            return None;
        }
        let above = place.checked_sub(1).map(|place| rows[place]);
        let below = rows.get(place + 1).copied();
        let pair = [(above, Some(*best)), (Some(*best), below)]
            .into_iter()
            .find_map(|(upper, lower)| {
                Some((upper?, lower?)).filter(|(upper, lower)| are_one(upper, lower))
            });
        let numbers = match pair {
            Some((upper, lower)) => vec![upper.number, lower.number],
            None => vec![best.number],
        };
        Some(Header::at(sheet, numbers))
    }

    /// The header in given rows.
    fn at(sheet: &Sheet, rows: Vec<u64>) -> Header {
        let names = joined_header(sheet, &rows, " ", true);
        let last = |place: usize| {
            let texts = sheet.rows.iter().filter(|row| rows.contains(&row.number));
            let texts = texts
                .filter_map(|row| row.cells.get(place))
                .filter(|cell| !is_blank(cell));
            texts.map(content).next_back().unwrap_or_default()
        };
        let columns = names.into_iter().enumerate().map(|(place, name)| Heading {
            name,
            last: last(place),
        });
        Header {
            columns: columns.collect(),
            rows,
        }
    }

    /// The number of its last row.
    pub(super) fn end(&self) -> u64 {
        self.rows.last().copied().unwrap_or(0)
    }

    /// How many of its columns are known.
    pub(super) fn known(&self) -> usize {
        self.columns
            .iter()
            .filter(|heading| heading.named().is_some())
            .count()
    }

    /// Whether another header has the same names in the same rows.
    pub(super) fn is_like(&self, other: &Header) -> bool {
        let names = |header: &Header| {
            let mut names: Vec<String> = header
                .columns
                .iter()
                .map(|heading| folded(&heading.name))
                .collect();
            let end = names.iter().rposition(|name| !name.is_empty());
            names.truncate(end.map_or(0, |end| end + 1));
            names
        };
        self.rows == other.rows && names(self) == names(other)
    }
}

impl Heading {
    /// The member that it names: all of it, or its last row under a title over several columns.
    pub(super) fn named(&self) -> Option<Named> {
        known_as(&self.name).or_else(|| known_as(&self.last))
    }

    /// Whether it is over what is computed from other columns.
    pub(super) fn is_derived(&self) -> bool {
        is_derived(&self.name) || is_derived(&self.last)
    }
}

fn known(row: &Row) -> usize {
    let texts = row
        .cells
        .iter()
        .filter(|cell| matches!(cell, Cell::Text(_)));
    texts
        .filter(|cell| known_as(&content(cell)).is_some())
        .count()
}

/// How many different texts that are no numbers a row holds.
fn texts(row: &Row) -> usize {
    let mut texts: Vec<String> = row
        .cells
        .iter()
        .filter(|cell| is_word(cell))
        .map(|cell| folded(&content(cell)))
        .collect();
    texts.sort_unstable();
    texts.dedup();
    texts.len()
}

fn is_word(cell: &Cell) -> bool {
    matches!(cell, Cell::Text(_)) && !is_blank(cell) && content(cell).parse::<f64>().is_err()
}

/// Whether two rows are one header: a row of titles over several columns each, or a row of units below the names.
fn are_one(upper: &Row, lower: &Row) -> bool {
    let filled = |row: &Row, place: usize| row.cells.get(place).is_some_and(|cell| !is_blank(cell));
    let cells = |row: &Row| -> Vec<Cell> {
        row.cells
            .iter()
            .filter(|cell| !is_blank(cell))
            .cloned()
            .collect()
    };
    let (above, below) = (cells(upper), cells(lower));
    let adjoin = lower.number == upper.number + 1;
    if !adjoin || above.len() < 2 || below.is_empty() || !above.iter().chain(&below).all(is_word) {
        return false;
    }
    let width = upper.cells.len().max(lower.cells.len());
    // A title over several columns: its own cell, and blank ones to its right.
    let spans = (1..width).filter(|place| {
        filled(lower, *place)
            && !filled(upper, *place)
            && (0..*place).any(|left| filled(upper, left))
    });
    let names_below = |place: &usize| {
        let text = lower.cells.get(*place).map(content).unwrap_or_default();
        shape_of(&text).is_some() || known_as(&text).is_some()
    };
    let spanned = spans.filter(names_below).count();
    let units = below.iter().all(|cell| is_unit(&content(cell)));
    spanned >= 1 && (0..width).any(|place| filled(upper, place) != filled(lower, place)) || units
}

/// A text of a row of units: in brackets, or with a sign that names have not.
fn is_unit(text: &str) -> bool {
    let bracketed = text.starts_with(['(', '[']) && text.ends_with([')', ']']);
    bracketed
        || text.contains(['/', '$', '€', '°', '¢'])
        || matches!(
            text.to_lowercase().as_str(),
            "ac" | "acre" | "acres" | "ha" | "deg"
        )
}
