//! The sheets that `held export` sends out, as both of their readers know them: the header, and the text of a cell.

use crate::sheet::table::{Cell, Row};

/// Header of the column that names the held record.
pub const HELD_ID: &str = "held_id";
/// Headers of what a sender reads of a record that goes out in rows: what is wrong, and what would be right.
pub const HELD_PROBLEM: &str = "held_problem";
/// See [`HELD_PROBLEM`].
pub const HELD_EXPECTED: &str = "held_expected";
/// Header of the column with the number of units of a visit, which its sender changes with the rows.
pub const HELD_UNITS: &str = "held_units";
/// Header of the column that names the file in which the record came.
pub const HELD_FILE: &str = "held_file";
/// Header of the column that says where it was in that file.
pub const HELD_PLACE: &str = "held_place";
/// Header of the column with the rows as sent.
pub const HELD_AS_SENT: &str = "held_as_sent";
/// Header of the column that says how the identity of a visit is made.
pub const ID_RECIPE: &str = "held_visit_id_from";
/// Rows in which the header is looked for.
pub(crate) const HEADER_ROWS_MAX: usize = 20;

/// The place of the column with this header.
pub(crate) fn column_named(header: &Row, name: &str) -> Option<usize> {
    header
        .cells
        .iter()
        .position(|cell| matches!(cell, Cell::Text(text) if text.trim() == name))
}

/// The first text that rows have in a column, without blanks at its ends.
pub(crate) fn first_text(header: &Row, rows: &[&Row], name: &str) -> Option<String> {
    let at = column_named(header, name)?;
    let texts = rows.iter().filter_map(|row| row.cells.get(at)).map(text_of);
    texts
        .map(|text| text.trim().to_owned())
        .find(|text| !text.is_empty())
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
