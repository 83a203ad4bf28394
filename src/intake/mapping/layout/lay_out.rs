//! A sheet → its table: columns first, then rows, then nothing may be left that the mapping does not mention.

use crate::mapping::layout::finder::Finder;
use crate::mapping::layout::joined::JoinedSheet;
use crate::mapping::layout::sheets::{ChosenSheet, header, title_names};
use crate::mapping::layout::slices::{sliced, slices};
use crate::mapping::layout::table::{Places, Table};
use crate::mapping::names::folded;
use crate::mapping::plan::Mapping;
use crate::sheet::table::Sheet;
use scouting::failure::Failure;

/// Lays a sheet out; `sheets` are all those of its file.
pub(in crate::mapping) fn lay_out<'a>(
    mapping: &Mapping,
    chosen: &'a ChosenSheet<'a>,
    sheets: &'a [Sheet],
    file_name: &str,
) -> Result<Table<'a>, Failure> {
    let sheet = chosen.rows_of();
    let header = header(mapping, sheet);
    let titles = title_names(mapping, chosen);
    let folded_header: Vec<String> = header.iter().map(|text| folded(text)).collect();
    let joins = mapping.joins.iter();
    let joined = joins
        .map(|join| JoinedSheet::of(join, sheets, &folded_header, file_name))
        .collect::<Result<Vec<_>, Failure>>()?;
    let places = Places::of(sheet, chosen.turned.as_ref());
    let finder = Finder {
        mapping,
        sheet,
        header: &header,
        folded_header: &folded_header,
        titles: &titles,
        places,
        joined: &joined,
        file_name,
    };
    let mut columns = finder.columns()?;
    let rows = finder.rows(chosen)?;
    finder.refuse_unmentioned(&columns, &rows)?;
    let slices = slices(&mapping.fields, &mut columns);
    Ok(Table {
        sheet: &sheet.name,
        places,
        header,
        columns,
        joined,
        rows: sliced(rows, &slices),
    })
}
