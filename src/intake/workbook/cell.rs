//! A value as the reader of workbooks gives it → our cell.

use calamine::{CellErrorType, Data, DataRef, ExcelDateTime};

use crate::sheet::table::Cell;
use crate::workbook::serial::{date_cell, duration_cell, iso_date_cell, iso_duration_cell};

/// What is said of a formula without a stored value.
pub(super) const NOT_CALCULATED: &str = "formula not calculated: open and save the workbook";

/// A value of a whole range, as a value that is read cell by cell.
pub(super) fn by_reference(value: &Data) -> DataRef<'_> {
    match value {
        Data::Int(number) => DataRef::Int(*number),
        Data::Float(number) => DataRef::Float(*number),
        Data::String(text) => DataRef::SharedString(text),
        Data::Bool(truth) => DataRef::Bool(*truth),
        Data::DateTime(moment) => DataRef::DateTime(*moment),
        Data::DateTimeIso(text) => DataRef::DateTimeIso(text.clone()),
        Data::DurationIso(text) => DataRef::DurationIso(text.clone()),
        Data::Error(error) => DataRef::Error(error.clone()),
        Data::Empty => DataRef::Empty,
    }
}

/// What a cell holds. `has_formula`: a value or none, it was computed.
pub(super) fn cell_of(value: DataRef, has_formula: bool, is_1904: bool) -> Cell {
    match value {
        DataRef::Empty if has_formula => Cell::Broken(NOT_CALCULATED.to_owned()),
        DataRef::Empty => Cell::Empty,
        DataRef::Int(number) => Cell::Number(number as f64),
        DataRef::Float(number) if !number.is_finite() => Cell::Broken(number.to_string()),
        DataRef::Float(number) => Cell::Number(number),
        DataRef::String(text) => text_cell(&text, has_formula),
        DataRef::SharedString(text) => text_cell(text, has_formula),
        DataRef::Bool(truth) => Cell::Truth(truth),
        DataRef::DateTime(moment) => moment_cell(&moment, is_1904),
        DataRef::DateTimeIso(text) => iso_date_cell(&text),
        DataRef::DurationIso(text) => iso_duration_cell(&text),
        DataRef::Error(CellErrorType::GettingData) => Cell::Broken("#GETTING_DATA".to_owned()),
        DataRef::Error(error) => Cell::Broken(error.to_string()),
    }
}

fn moment_cell(moment: &ExcelDateTime, is_1904: bool) -> Cell {
    if moment.is_duration() {
        duration_cell(moment.as_f64())
    } else {
        date_cell(moment.as_f64(), is_1904)
    }
}

/// ODS keeps a formula's error as its text.
fn text_cell(text: &str, has_formula: bool) -> Cell {
    let is_error = |text: &str| {
        text.starts_with("Err:")
            || (text.starts_with('#') && text.ends_with(['!', '?', 'A']) && !text.contains(' '))
    };
    if text.is_empty() {
        Cell::Empty
    } else if has_formula && is_error(text) {
        Cell::Broken(text.to_owned())
    } else {
        Cell::Text(text.to_owned())
    }
}
