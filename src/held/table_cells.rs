//! Cells as intake knows them → cells as tables are written of: neither side knows the other.

use crate::intake::mapping::{plain_header, plain_rows};
use crate::intake::sheet::table::Cell;
use crate::shared::table_files::TableCell;
use crate::visit::heads::Heads;
use crate::visit::record::{Count, Visit};

/// A cell as it is written.
pub fn table_cell(cell: Cell) -> TableCell {
    match cell {
        Cell::Empty => TableCell::Empty,
        Cell::Text(text) | Cell::Broken(text) => TableCell::Text(text),
        Cell::Number(number) => TableCell::Number(number),
        Cell::Truth(truth) => TableCell::Truth(truth),
        Cell::Date(date) => TableCell::Text(date.to_string()),
        Cell::Moment(moment) => TableCell::Text(moment.to_string()),
    }
}

/// Visits in the plain layout, header and rows: what `load` takes back without a mapping.
pub fn plain_table(visits: &[Visit]) -> (Vec<String>, Vec<Vec<TableCell>>) {
    let sites = visits.iter().flat_map(|visit| &visit.sites);
    let heads = sites.flat_map(|site| site.heads.iter().flat_map(Heads::iter));
    let header = plain_header(heads.map(<[Count]>::len).max().unwrap_or(0));
    let rows = visits.iter().flat_map(plain_rows).map(|row| {
        let mut cells: Vec<TableCell> = row.into_iter().map(table_cell).collect();
        cells.resize(header.len(), TableCell::Empty);
        cells
    });
    let rows = rows.collect();
    (header, rows)
}
