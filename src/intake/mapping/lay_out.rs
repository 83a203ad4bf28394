//! A sheet → its table: columns first, then rows, then nothing may be left that the mapping does not mention.

use super::finder::Finder;
use super::names::folded;
use super::plan::Mapping;
use super::sheets::{ChosenSheet, header, title_names};
use super::table::Table;
use scouting::failure::Failure;

/// Lays a sheet out.
pub(in crate::mapping) fn lay_out<'a>(
    mapping: &Mapping,
    chosen: &ChosenSheet<'a>,
    file_name: &str,
) -> Result<Table<'a>, Failure> {
    let sheet = chosen.sheet;
    let header = header(mapping, sheet);
    let titles = title_names(mapping, chosen);
    let folded_header: Vec<String> = header.iter().map(|text| folded(text)).collect();
    let finder = Finder {
        mapping,
        sheet,
        header: &header,
        folded_header: &folded_header,
        titles: &titles,
        file_name,
    };
    let columns = finder.columns()?;
    let rows = finder.rows(chosen)?;
    finder.refuse_unmentioned(&columns, &rows)?;
    Ok(Table {
        sheet: &sheet.name,
        header,
        columns,
        rows,
    })
}
