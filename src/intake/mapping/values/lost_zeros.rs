//! Ids that lost their leading zeros when a spreadsheet took them for numbers.
//!
//! Seen by what is next to them: in a column with `00417`, an id `417` is either another id or the same without
//! its zeros. Where all ids of a column lost them nothing can be seen, but for the county codes of the United
//! States, which have five digits (FIPS: two of the state, three of the county). `zeroPad` settles both.

use crate::mapping::layout::table::{Column, Table};
use crate::mapping::member::{Kind, Level};
use crate::mapping::names::content;
use crate::mapping::plan::{Field, Mapping};
use crate::mapping::values::numbers::Fault;
use crate::sheet::table::Cell;
use scouting::visit::code::Code;

/// Digits of a county code of the United States.
const COUNTY_DIGITS: usize = 5;

/// Digits of the ids of each column that has an id with a leading zero; `None` for all other columns.
pub(in crate::mapping) fn digits_of_columns(
    mapping: &Mapping,
    table: &Table<'_>,
) -> Vec<Option<usize>> {
    let of_column = |column: &Column| {
        let field = &mapping.fields[column.field];
        let ids = table
            .rows
            .iter()
            .filter_map(|row| zero_padded(&row.cell(table, column).0));
        // Ids of one length alone say how many digits the others have.
        holds_ids(field).then(|| ids.max()).flatten()
    };
    table.columns.iter().map(of_column).collect()
}

/// Why a cell cannot be taken for an id, if its zeros may be lost.
pub(in crate::mapping) fn lost_zeros(
    field: &Field,
    cell: &Cell,
    digits: Option<usize>,
) -> Option<Fault> {
    if !holds_ids(field) {
        return None;
    }
    let id = content(cell);
    let is_county = field.reading.member.pointer == "/field/county_id";
    let digits = match digits {
        None if is_county && id.len() == COUNTY_DIGITS - 1 => COUNTY_DIGITS,
        digits => digits?,
    };
    let is_short = all_digits(&id) && !id.starts_with('0') && id.len() < digits;
    is_short.then(|| {
        Fault::new(
            Code::IdLostZeros,
            format!(
                "all digits of the id: {id} may have been {id:0>digits$} before a spreadsheet took its zeros away; set the column to text and type it again, or the mapping says zeroPad = {digits}; if {id} is meant, zeroPad = 1"
            ),
        )
    })
}

/// Whether the column holds ids for which the mapping does not say how many digits they have.
fn holds_ids(field: &Field) -> bool {
    let reading = &field.reading;
    reading.member.level == Level::Visit
        && reading.member.kind == Kind::Text
        && reading.member.pointer.ends_with("_id")
        && reading.zero_pad == 0
        && reading.values.is_empty()
        && reading.part.is_none()
        && !reading.verbatim
}

fn zero_padded(cell: &Cell) -> Option<usize> {
    let Cell::Text(_) = cell else { return None };
    let id = content(cell);
    (id.len() > 1 && id.starts_with('0') && all_digits(&id)).then_some(id.len())
}

fn all_digits(id: &str) -> bool {
    !id.is_empty() && id.bytes().all(|letter| letter.is_ascii_digit())
}
