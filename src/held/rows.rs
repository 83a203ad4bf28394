//! The sheet of held records that came as rows of a table: in the columns of the plain layout, one row per unit,
//! next to columns that say what is wrong and what would be right. `load` takes it back as it is.
//!
//! The cells to correct are marked by color and named in words, for those who cannot see the color.

use rust_xlsxwriter::{Color, Format, Workbook, XlsxError};

use super::record::{ReturnedRecord, ReturnedRow, ReturnedRows};
use crate::shared::table_files::{CELL_LENGTH_MAX, fits_cell, text_format, write_cells};
use intake::corrections::sent_out::{
    HELD_AS_SENT, HELD_EXPECTED, HELD_FILE, HELD_ID, HELD_PLACE, HELD_PROBLEM, HELD_UNITS,
    ID_RECIPE,
};
use intake::sheet::table::Cell;
use scouting::visit::words::{on_one_line, starts_formula};

/// The columns before those of the visit. `load` looks for the first; all of them begin with `held_`.
pub(crate) const COLUMNS: [&str; 8] = [
    HELD_ID,
    HELD_PROBLEM,
    HELD_EXPECTED,
    HELD_UNITS,
    HELD_FILE,
    HELD_PLACE,
    HELD_AS_SENT,
    ID_RECIPE,
];
/// Places of the two that a person reads first: their lines are all shown.
const WRONG: usize = 1;
const RIGHT: usize = 2;
/// Place of the one that a sender may change.
const UNITS: usize = 3;
/// Widths of these columns and of the others, in characters.
const WIDTHS: [f64; 8] = [22.0, 46.0, 46.0, 12.0, 20.0, 20.0, 50.0, 14.0];
const WIDTH: f64 = 14.0;
/// Rows of one sheet: Excel has 1,048,576, but nobody corrects so many.
const SHEET_ROWS_MAX: usize = 100_000;
/// More columns than these are named by the first and the last.
const NAMED_MAX: usize = 3;

/// How to correct records, for a sheet of its own.
pub(crate) const INSTRUCTIONS: [&str; 13] = [
    "The sheet \"visits\" holds records that came in a spreadsheet and could not be counted yet.",
    "Each row is one head, plant or trap. The values of the visit are in its first row, those of a site in the site's first row.",
    "\"held_problem\" says what is wrong and where it was in your file; \"held_expected\" names the column of this row and says what is expected there. The cell is highlighted.",
    "A cell that could not be read is as you sent it, in its column. Write the correct value over it, then save and send this workbook back.",
    "\"held_units\", in the first row of a visit, is how many heads, plants or traps it has. If you take one out because it was not examined (delete its row, or clear its counts), or add one, write the new number there; where it is highlighted, write the number. Otherwise the visit stays on hold, so that no row is lost by mistake.",
    "A row that you add needs the site and the unit, and the held_id of its visit.",
    "Change none of the other columns that begin with held_, and keep all columns with their names. A column of your own is not read.",
    "area_ha is in hectares, whatever unit your own sheet has: 1 acre is 0.40468564224 ha, exactly. Amounts are per acre or ha, lb or kg, as the column next to them says.",
    "lon and lat are degrees; west and south have a minus sign. Days are written as 2026-07-21.",
    "An apostrophe before a text keeps a spreadsheet from taking it for a formula; it is not part of the text.",
    "\"held_as_sent\" shows your row as it came. visit_id may stay empty where held_visit_id_from is filled: it is made for you.",
    "To leave a record as it is, leave its rows as they are.",
    "If a correction was accepted before, raise \"revision\" by one.",
];

/// The longest header of some records: shorter ones are its beginning.
fn widest<'a>(records: &[(&ReturnedRecord, &'a ReturnedRows)]) -> &'a [String] {
    records
        .iter()
        .map(|(_, rows)| rows.header.as_slice())
        .max_by_key(|header| header.len())
        .unwrap_or_default()
}

/// Header and rows of the records that have some, for a text file.
pub(crate) fn table(records: &[ReturnedRecord]) -> (Vec<String>, Vec<Vec<Cell>>) {
    let records = with_rows(records);
    let visit = widest(&records);
    let header = COLUMNS.iter().map(|name| (*name).to_owned());
    let rows = records.iter().flat_map(|(record, rows)| {
        rows.rows.iter().enumerate().map(move |(place, row)| {
            let mut cells = held_cells(record, rows, place);
            for cell in &mut cells {
                if let Cell::Text(text) = cell
                    && starts_formula(text)
                {
                    text.insert(0, '\'');
                }
            }
            cells.extend(row.cells.iter().cloned());
            cells.resize(COLUMNS.len() + visit.len(), Cell::Empty);
            cells
        })
    });
    (
        header.chain(visit.iter().cloned()).collect(),
        rows.collect(),
    )
}

/// Writes the sheets of the records that have rows, none if none has.
pub(crate) fn write_sheets(
    workbook: &mut Workbook,
    records: &[ReturnedRecord],
) -> Result<(), XlsxError> {
    let records = with_rows(records);
    let header = widest(&records);
    let forms = Forms::new();
    for (number, part) in (1..).zip(parts(&records)) {
        let sheet = workbook.add_worksheet();
        sheet.set_name(match number {
            1 => "visits".to_owned(),
            number => format!("visits {number}"),
        })?;
        let names = COLUMNS.into_iter().chain(header.iter().map(String::as_str));
        for ((column, place), name) in (0..).zip(0_usize..).zip(names) {
            sheet.write_string_with_format(0, column, name, &forms.heading)?;
            sheet.set_column_width(column, WIDTHS.get(place).copied().unwrap_or(WIDTH))?;
        }
        sheet.set_freeze_panes(1, 3)?;
        let rows = part.iter().flat_map(|(record, rows)| {
            (0..rows.rows.len()).map(move |place| (*record, *rows, place))
        });
        for (at, (record, rows, place)) in (1..).zip(rows) {
            let held = held_cells(record, rows, place);
            let asks_units = place == 0 && rows.units.is_none();
            write_cells(sheet, (at, 0), &held, |column| match column {
                WRONG | RIGHT => &forms.wrapped,
                UNITS if asks_units => &forms.to_correct,
                _ => &forms.text,
            })?;
            let row = &rows.rows[place];
            let first = COLUMNS.len() as u16;
            write_cells(sheet, (at, first), &row.cells, |column| {
                forms.of(row, column)
            })?;
            // A number to be corrected has the color too.
            for (column, cell) in row
                .cells
                .iter()
                .enumerate()
                .filter(|(at, _)| row.is_to_correct(*at))
            {
                if let Cell::Number(number) = cell {
                    let at_column = first + column as u16;
                    sheet.write_number_with_format(
                        at,
                        at_column,
                        *number,
                        &forms.number_to_correct,
                    )?;
                }
            }
        }
    }
    Ok(())
}

/// How cells look.
struct Forms {
    heading: Format,
    wrapped: Format,
    text: Format,
    to_correct: Format,
    number_to_correct: Format,
}

impl Forms {
    fn new() -> Forms {
        let color = Color::RGB(0x00FF_E699);
        Forms {
            heading: Format::new().set_bold().set_text_wrap(),
            wrapped: text_format().set_text_wrap(),
            text: text_format(),
            to_correct: text_format().set_background_color(color),
            number_to_correct: Format::new().set_background_color(color),
        }
    }

    fn of(&self, row: &ReturnedRow, column: usize) -> &Format {
        match row.is_to_correct(column) {
            true => &self.to_correct,
            false => &self.text,
        }
    }
}

fn with_rows(records: &[ReturnedRecord]) -> Vec<(&ReturnedRecord, &ReturnedRows)> {
    let rows = records.iter();
    rows.filter_map(|record| Some((record, record.rows.as_ref()?)))
        .collect()
}

/// Records sheet by sheet; none is cut in two.
fn parts<'a, 'b>(
    records: &'b [(&'a ReturnedRecord, &'a ReturnedRows)],
) -> Vec<&'b [(&'a ReturnedRecord, &'a ReturnedRows)]> {
    let mut parts = Vec::new();
    let (mut start, mut rows) = (0, 0);
    for (place, (_, record)) in records.iter().enumerate() {
        if rows > 0 && rows + record.rows.len() > SHEET_ROWS_MAX {
            parts.push(&records[start..place]);
            (start, rows) = (place, 0);
        }
        rows += record.rows.len();
    }
    if start < records.len() {
        parts.push(&records[start..]);
    }
    parts
}

/// The cells of our own columns in a row of a record.
fn held_cells(record: &ReturnedRecord, rows: &ReturnedRows, place: usize) -> Vec<Cell> {
    let row = &rows.rows[place];
    let once = |text: &str| match place {
        0 => text.to_owned(),
        _ => String::new(),
    };
    let wrong: Vec<&str> = row.to_correct.iter().map(|mend| &*mend.wrong).collect();
    let right =
        row.to_correct
            .iter()
            .map(|mend| match columns_in_words(&rows.header, &mend.columns) {
                Some(columns) => format!("{columns}: {}", mend.right),
                None => mend.right.clone(),
            });
    let right: Vec<String> = right.collect();
    let cells = [
        record.held_id.clone(),
        wrong.join("\n"),
        right.join("\n"),
        String::new(),
        once(&on_one_line(&record.file_name)),
        once(&on_one_line(&rows.place)),
        once(&rows.as_sent),
        once(rows.id_recipe.as_deref().unwrap_or_default()),
    ];
    let mut cells = cells.map(|text| match text.is_empty() {
        true => Cell::Empty,
        false => Cell::Text(shortened(text)),
    });
    if let (0, Some(units)) = (place, rows.units) {
        cells[UNITS] = Cell::Number(units as f64);
    }
    cells.to_vec()
}

/// `lon, lat`, or `count_1 to count_6`.
fn columns_in_words(header: &[String], columns: &[usize]) -> Option<String> {
    let names: Vec<&str> = columns
        .iter()
        .filter_map(|column| header.get(*column).map(String::as_str))
        .collect();
    match names.as_slice() {
        [] => None,
        [first, .., last] if names.len() > NAMED_MAX => Some(format!("{first} to {last}")),
        names => Some(names.join(", ")),
    }
}

/// A text of ours that fits into a cell.
pub(super) fn shortened(text: String) -> String {
    if fits_cell(&text) {
        return text;
    }
    // Two units a character at the most, and room for the last one.
    let kept: String = text.chars().take(CELL_LENGTH_MAX / 2 - 1).collect();
    kept + "…"
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::held::record::ReturnedCell;

    fn record(bracts: usize) -> ReturnedRecord {
        let header = (1..=bracts).map(|bract| format!("count_{bract}")).collect();
        let mend = |columns: Vec<usize>| ReturnedCell {
            columns,
            wrong: "=site 1".to_owned(),
            right: "a count".to_owned(),
        };
        let row = |to_correct: Vec<ReturnedCell>| ReturnedRow {
            cells: vec![Cell::Number(-1.0); bracts],
            to_correct,
        };
        ReturnedRecord {
            held_id: "01ababababababab-12".to_owned(),
            file_name: "=week30.csv".to_owned(),
            line: 12,
            visit_id: None,
            findings: Vec::new(),
            record: "{}".to_owned(),
            rows: Some(ReturnedRows {
                place: "row 12".to_owned(),
                as_sent: "@row".to_owned(),
                units: Some(2),
                id_recipe: None,
                header,
                rows: vec![
                    row(vec![mend(vec![0]), mend((0..bracts).collect())]),
                    row(Vec::new()),
                ],
                record: serde_json::json!({}),
            }),
        }
    }

    #[test]
    fn a_row_says_which_cells_of_it_are_to_be_corrected() {
        let (header, rows) = table(&[record(2), record(6)]);
        assert_eq!(header.len(), COLUMNS.len() + 6);
        assert!(rows.iter().all(|row| row.len() == header.len()));
        assert_eq!(
            rows[2][2],
            Cell::Text("count_1: a count\ncount_1 to count_6: a count".to_owned())
        );
        assert_eq!(rows[1][2], Cell::Empty);
        assert_eq!(rows[1][0], rows[0][0]);
        let texts = rows.iter().flatten().filter_map(|cell| match cell {
            Cell::Text(text) => Some(text),
            _ => None,
        });
        assert!(texts.clone().count() > 4);
        assert!(texts.into_iter().all(|text| !starts_formula(text)));
    }

    #[test]
    fn a_long_text_of_ours_is_cut_to_a_cell() {
        assert!(fits_cell(&shortened("\u{1f33b}".repeat(CELL_LENGTH_MAX))));
    }
}
