//! Each SQL stage on a few rows written out here gives the rows written out here; and the runner refuses a
//! stage whose header does not say the truth.
//!
//! The tables are written as text: a line of `name:type`, then a line a row, cells apart by spaces, `-` for
//! null. `name:type=value` is a column that has this value in every row and is not written out.

mod county_weeks;
mod effort;
mod field_weeks;
mod headers;
mod public;
mod revisions;
mod runner;

use arrow::array::RecordBatch;
use arrow::util::display::array_value_to_string;

/// The rows of some columns as text, one line a row, `-` for null.
fn cells(batch: &RecordBatch, columns: &str) -> Vec<String> {
    let shown = |name: &str, row: usize| {
        let column = batch.column_by_name(name).expect("a column of the table");
        match column.is_null(row) {
            true => "-".to_owned(),
            false => array_value_to_string(column, row).expect("a value has a text"),
        }
    };
    (0..batch.num_rows())
        .map(|row| {
            let cells = columns.split_whitespace().map(|name| shown(name, row));
            cells.collect::<Vec<_>>().join(" ")
        })
        .collect()
}
