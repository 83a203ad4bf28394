//! A table of cells as a text file with commas, or as a workbook.
//!
//! What the cells mean is not known here. Texts come as they are to be written: marked, if a spreadsheet might
//! take them for a formula. In a workbook every text is written as text all the same.

use rust_xlsxwriter::{DocProperties, ExcelDateTime, Format, Workbook, Worksheet, XlsxError};

use intake::sheet::table::Cell;
use scouting::failure::{Cause, Failure, Kind};

/// Characters that a cell of a workbook holds, in UTF-16 units (specification of Excel).
pub(crate) const CELL_LENGTH_MAX: usize = 32_767;
/// Rows of a sheet (specification of Excel).
const SHEET_ROWS_MAX: usize = 1_048_576;

/// The cell as a text file has it. Numbers are as short as they can be and still the same.
fn in_text(cell: &Cell) -> String {
    match cell {
        Cell::Empty => String::new(),
        Cell::Text(text) | Cell::Broken(text) => text.clone(),
        Cell::Number(number) | Cell::Percent(number) => number.to_string(),
        Cell::Struck(cell) => in_text(cell),
        Cell::Truth(truth) => truth.to_string(),
        Cell::Date(date) => date.to_string(),
        Cell::Moment(moment) => moment.to_string(),
    }
}

/// Whether a cell of a workbook holds it.
pub(crate) fn fits(cell: &Cell) -> bool {
    match cell {
        Cell::Text(text) | Cell::Broken(text) => fits_cell(text),
        _ => true,
    }
}

/// Whether a text fits into a cell of a workbook.
pub(crate) fn fits_cell(text: &str) -> bool {
    // Bytes first: no text has more UTF-16 units than bytes.
    text.len() <= CELL_LENGTH_MAX || text.encode_utf16().count() <= CELL_LENGTH_MAX
}

/// A table as text with commas, in UTF-8 with a byte order mark, by which spreadsheets know it.
///
/// # Errors
/// If the library cannot write it.
pub fn table_csv<'a>(
    header: &[String],
    rows: impl IntoIterator<Item = &'a [Cell]>,
) -> Result<Vec<u8>, Failure> {
    let write = || -> Result<Vec<u8>, csv::Error> {
        let mut table = csv::WriterBuilder::new()
            .terminator(csv::Terminator::CRLF)
            .from_writer("\u{feff}".as_bytes().to_vec());
        table.write_record(header)?;
        for row in rows {
            table.write_record(row.iter().map(in_text))?;
        }
        table
            .into_inner()
            .map_err(|error| csv::Error::from(error.into_error()))
    };
    write().map_err(unmade)
}

/// A table as a workbook of one sheet.
///
/// # Errors
/// If a text is longer than a cell holds, or there are more rows than a sheet has.
pub fn table_xlsx<'a>(
    sheet_name: &str,
    header: &[String],
    rows: impl IntoIterator<Item = &'a [Cell]>,
) -> Result<Vec<u8>, Failure> {
    let text_format = text_format();
    let mut workbook = new_workbook().map_err(unmade)?;
    let sheet = workbook.add_worksheet();
    sheet
        .set_name(sheet_name)
        .and_then(|sheet| sheet.write_row(0, 0, header))
        .map_err(unmade)?;
    for (row, cells) in (1..).zip(rows) {
        if row as usize >= SHEET_ROWS_MAX {
            return Err(unmade(format!("more than {SHEET_ROWS_MAX} rows"))
                .mend("write CSV or Parquet, or fewer rows at a time"));
        }
        if let Some(column) = cells.iter().position(|cell| !fits(cell)) {
            let name = header.get(column).map_or("", String::as_str);
            let what = format!("a text of {name} is longer than {CELL_LENGTH_MAX} characters");
            return Err(unmade(what).mend("write CSV or Parquet, which have no such limit"));
        }
        write_cells(sheet, (row, 0), cells, |_| &text_format).map_err(unmade)?;
    }
    workbook.save_to_buffer().map_err(unmade)
}

/// A workbook that says no time of its making: the same content makes the same bytes.
pub(crate) fn new_workbook() -> Result<Workbook, XlsxError> {
    let mut workbook = Workbook::new();
    let unsaid = ExcelDateTime::from_ymd(2000, 1, 1)?;
    workbook.set_properties(&DocProperties::new().set_creation_datetime(&unsaid));
    Ok(workbook)
}

/// The form of a cell of text that stays text when somebody edits it.
pub(crate) fn text_format() -> Format {
    Format::new().set_num_format("@").set_quote_prefix()
}

/// Writes cells from a place on, in a row; `form` says how the cell of a column looks.
pub(crate) fn write_cells<'f>(
    sheet: &mut Worksheet,
    (row, first): (u32, u16),
    cells: &[Cell],
    form: impl Fn(usize) -> &'f Format,
) -> Result<(), XlsxError> {
    for ((place, column), cell) in (0..).zip(first..).zip(cells) {
        match cell {
            Cell::Empty => sheet.write_blank(row, column, form(place))?,
            Cell::Number(number) | Cell::Percent(number) => {
                sheet.write_number(row, column, *number)?
            }
            Cell::Truth(truth) => sheet.write_boolean(row, column, *truth)?,
            Cell::Text(_) | Cell::Broken(_) | Cell::Date(_) | Cell::Moment(_) | Cell::Struck(_) => {
                sheet.write_string_with_format(row, column, in_text(cell), form(place))?
            }
        };
    }
    Ok(())
}

fn unmade(error: impl Into<Cause>) -> Failure {
    Failure::because(Kind::Publish, "cannot make the table", error)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn rows(text: &str) -> Vec<Vec<Cell>> {
        vec![vec![
            Cell::Text(text.to_owned()),
            Cell::Number(0.1 + 0.2),
            Cell::Truth(true),
            Cell::Empty,
        ]]
    }

    #[test]
    fn a_table_of_text_holds_every_cell_as_it_is() {
        let header = ["a", "b", "c", "d"].map(str::to_owned);
        let rows = rows("x,\"y\"\nz");
        let table = table_csv(&header, rows.iter().map(Vec::as_slice)).expect("a table");
        let expected = "\u{feff}a,b,c,d\r\n\"x,\"\"y\"\"\nz\",0.30000000000000004,true,\r\n";
        assert_eq!(String::from_utf8(table).expect("UTF-8"), expected);
    }

    #[test]
    fn a_text_too_long_for_a_cell_is_refused_with_its_column() {
        let header = ["a", "b", "c", "d"].map(str::to_owned);
        let long = rows(&"x".repeat(CELL_LENGTH_MAX + 1));
        let failure = table_xlsx("visits", &header, long.iter().map(Vec::as_slice))
            .expect_err("too long a text");
        assert!(
            failure.to_string().contains("a text of a is longer"),
            "{failure}"
        );
        let short = rows(&"x".repeat(CELL_LENGTH_MAX));
        let made = || table_xlsx("visits", &header, short.iter().map(Vec::as_slice));
        assert_eq!(made().expect("a workbook"), made().expect("a workbook"));
    }

    #[test]
    fn the_length_of_a_text_is_told_by_its_utf16_units() {
        assert!(fits_cell(&"x".repeat(CELL_LENGTH_MAX)));
        assert!(!fits_cell(&"x".repeat(CELL_LENGTH_MAX + 1)));
        assert!(fits_cell(&"ä".repeat(CELL_LENGTH_MAX)));
        assert!(!fits_cell(&"\u{1f33b}".repeat(CELL_LENGTH_MAX / 2 + 1)));
    }
}
