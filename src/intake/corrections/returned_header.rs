//! The header of a sheet of rows that comes back corrected: which columns it has lost, and which somebody added.
//!
//! A column that was added is named in the account and not read. One that is missing refuses the sheet: whatever it held
//! would be lost in silence.

use crate::corrections::sent_out::{HEADER_ROWS_MAX, column_named, text_of};
use crate::mapping::{is_plain_column, plain_header};
use crate::read::not_read::ColumnNotRead;
use crate::sheet::grid::letters;
use crate::sheet::table::{Cell, Row, Sheet};
use scouting::failure::{Failure, Kind};

/// Columns that are ours alone begin so.
pub(crate) const OURS: &str = "held_";
/// Of the columns of the plain layout so many at least are left, whatever people did to the sheet.
const PLAIN_COLUMNS_LEFT: usize = 12;
const COUNT: &str = "count_";

/// The place of the row with our header; `None` if the sheet is none that was sent out in rows.
pub(crate) fn header_place(sheet: &Sheet) -> Option<usize> {
    let plain = plain_header(0);
    sheet.rows.iter().take(HEADER_ROWS_MAX).position(|row| {
        let has_ours = names(row).any(|name| name.starts_with(OURS));
        let has = |name: &&String| column_named(row, name).is_some();
        has_ours && plain.iter().filter(has).count() >= PLAIN_COLUMNS_LEFT
    })
}

/// Refuses a sheet that has lost a column of the plain layout.
pub(crate) fn refuse_lost_columns(
    sheet: &Sheet,
    header: &Row,
    file_name: &str,
) -> Result<(), Failure> {
    let lost = lost_columns(header);
    if lost.is_empty() {
        return Ok(());
    }
    let own: Vec<String> = own_columns(sheet, header, &[])
        .into_iter()
        .map(|own| format!("{:?} in column {}", own.heading, own.column))
        .collect();
    let others = others_in_words(&own);
    Err(lost_column(
        file_name,
        &format!(
            "{} lacks the column {}{others}",
            sheet_in_words(sheet),
            lost.join(", ")
        ),
    )
    .at(format!("row {}", header.number)))
}

/// The refusal of a sheet without a column that it was sent out with.
pub fn lost_column(file_name: &str, what: &str) -> Failure {
    Failure::new(Kind::Submission, format!("cannot load {file_name}: {what}")).mend(
        "give a renamed column its name back; copy a deleted one from the file that was sent out, \
         which `bractline held export` makes again",
    )
}

/// What to add to a message about a lost column: the columns that a sheet was not sent out with, one of which may be it.
pub(crate) fn others_in_words(own: &[String]) -> String {
    match own {
        [] => String::new(),
        own => format!(
            ", and has {}, which it was not sent out with",
            own.join(", ")
        ),
    }
}

/// A sheet by its name, which a text file has none of.
pub(crate) fn sheet_in_words(sheet: &Sheet) -> String {
    match sheet.name.as_str() {
        "" => "the table".to_owned(),
        name => format!("the sheet {name:?}"),
    }
}

/// Number of the columns for the counts of a head.
pub(crate) fn bracts(header: &Row) -> usize {
    let numbers = names(header).filter_map(|name| name.strip_prefix(COUNT)?.parse().ok());
    numbers.max().unwrap_or(0)
}

/// Columns of the plain layout that the header lacks, with their names in quotation marks.
fn lost_columns(header: &Row) -> Vec<String> {
    let expected = plain_header(bracts(header));
    let lost = expected
        .iter()
        .filter(|name| column_named(header, name).is_none());
    lost.map(|name| format!("{name:?}")).collect()
}

/// Columns that hold something and are none of ours. Without `rows`, by their headings alone.
pub(crate) fn own_columns(sheet: &Sheet, header: &Row, rows: &[Row]) -> Vec<ColumnNotRead> {
    let width = rows.iter().map(|row| row.cells.len()).max().unwrap_or(0);
    let columns = 0..width.max(header.cells.len());
    let is_own = |place: &usize| {
        let heading = heading(header, *place);
        let has_data = || rows.iter().any(|row| !is_blank(row.cells.get(*place)));
        match heading.is_empty() {
            true => has_data(),
            false => !is_ours(&heading),
        }
    };
    columns
        .filter(is_own)
        .map(|place| ColumnNotRead {
            sheet: sheet.name.clone(),
            column: letters(place),
            heading: heading(header, place),
        })
        .collect()
}

/// Whether the plain layout takes what is under a heading.
pub(crate) fn is_read(heading: &str) -> bool {
    is_ours(heading) && !heading.starts_with(OURS)
}

fn is_ours(heading: &str) -> bool {
    is_plain_column(heading)
}

pub(crate) fn heading(header: &Row, place: usize) -> String {
    let cell = header.cells.get(place);
    cell.map(|cell| text_of(cell).trim().to_owned())
        .unwrap_or_default()
}

fn is_blank(cell: Option<&Cell>) -> bool {
    cell.is_none_or(|cell| text_of(cell).trim().is_empty())
}

fn names(row: &Row) -> impl Iterator<Item = &str> {
    row.cells.iter().filter_map(|cell| match cell {
        Cell::Text(text) => Some(text.trim()),
        _ => None,
    })
}
