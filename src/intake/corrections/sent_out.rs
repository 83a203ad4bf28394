//! The sheets that `held export` sends out, as both of their readers know them: the header, and the text of a cell.

use crate::sheet::table::{Cell, Row};

/// Header of the column that names the held record.
pub(crate) const HELD_ID: &str = "held_id";
/// Rows in which the header is looked for.
pub(crate) const HEADER_ROWS_MAX: usize = 20;

/// The place of the column with this header.
pub(crate) fn column_named(header: &Row, name: &str) -> Option<usize> {
    header
        .cells
        .iter()
        .position(|cell| matches!(cell, Cell::Text(text) if text.trim() == name))
}

/// A cell's text, without the apostrophe that keeps a spreadsheet from reading a formula.
pub(crate) fn text_of(cell: &Cell) -> String {
    match cell {
        Cell::Empty => String::new(),
        Cell::Text(text) => match text.strip_prefix('\'') {
            Some(rest) if scouting::visit::words::starts_formula(rest) => rest.to_owned(),
            _ => text.clone(),
        },
        Cell::Number(number) | Cell::Percent(number) => number.to_string(),
        Cell::Truth(truth) => truth.to_string(),
        Cell::Date(date) => date.to_string(),
        Cell::Moment(moment) => moment.to_string(),
        Cell::Broken(words) => words.clone(),
        Cell::Struck(cell) => text_of(cell),
    }
}
