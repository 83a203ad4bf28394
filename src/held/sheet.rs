//! The spreadsheet of a sender's held records. Those that came as JSON: each as sent, what is wrong with it,
//! what would be right, and a cell in which to correct it, which `load` knows again by `held_id` and
//! `record_corrected`. Those that came as rows have sheets of [`super::rows`] in the same workbook.
//!
//! Every text is written as text: no cell is ever a formula. In a table of text, where nothing says
//! what is one, an apostrophe is put before whatever a spreadsheet might take for one.

use rust_xlsxwriter::{Color, Format, Worksheet, XlsxError};

use super::record::ReturnedRecord;
use super::rows as mend_rows;
use super::rows::shortened;
use crate::shared::table_files::{fits_cell, new_workbook, text_format};
use scouting::failure::{Cause, Failure, Kind};
use scouting::visit::words::{InWords, on_one_line, starts_formula};

/// The columns. The first and the last are what `load` looks for.
pub(crate) const COLUMNS: [&str; 7] = [
    "held_id",
    "file",
    "line",
    "problem",
    "expected",
    "record as sent",
    "record_corrected",
];
/// Widths of the columns, in characters.
const WIDTHS: [f64; 7] = [24.0, 24.0, 8.0, 48.0, 48.0, 60.0, 60.0];
/// Records of one sheet: Excel has 1,048,576 rows, but nobody corrects so many.
const SHEET_RECORDS_MAX: usize = 100_000;

/// How to correct records, for a sheet of its own.
const INSTRUCTIONS: [&str; 7] = [
    "Each row of the sheet \"records\" is one record that could not be counted yet.",
    "\"problem\" says what is wrong and where, \"expected\" says what is expected there.",
    "Correct the record in the column \"record_corrected\", then save and send this workbook back.",
    "Leave \"held_id\" as it is: it says which record yours replaces.",
    "To leave a record as it is, leave its row as it is.",
    "If a correction was accepted before, raise \"revision\" by one.",
    "A record that is too long for a cell is in a file of its own next to this workbook: correct it there.",
];

/// The workbook, as bytes.
///
/// # Errors
/// If the library cannot make it.
pub(crate) fn sheet_xlsx(records: &[ReturnedRecord]) -> Result<Vec<u8>, Failure> {
    workbook(records).map_err(unmade)
}

fn workbook(records: &[ReturnedRecord]) -> Result<Vec<u8>, XlsxError> {
    let mut workbook = new_workbook()?;
    let text = text_format().set_text_wrap();
    let to_correct = text.clone().set_background_color(Color::RGB(0x00FF_F6D6));
    let heading = Format::new().set_bold().set_text_wrap();
    let in_json = in_json(records);
    let in_rows = records.len() - in_json.len();
    for (number, part) in (1..).zip(in_json.chunks(SHEET_RECORDS_MAX)) {
        let sheet = workbook.add_worksheet();
        sheet.set_name(match number {
            1 => "records".to_owned(),
            number => format!("records {number}"),
        })?;
        for (column, name) in (0..).zip(COLUMNS) {
            sheet.write_string_with_format(0, column, name, &heading)?;
            sheet.set_column_width(column, WIDTHS[usize::from(column)])?;
        }
        sheet.set_freeze_panes(1, 1)?;
        for (row, record) in (1..).zip(part) {
            write_row(sheet, row, record, (&text, &to_correct))?;
        }
    }
    mend_rows::write_sheets(&mut workbook, records)?;
    let sheet = workbook.add_worksheet();
    sheet.set_name("how to correct")?;
    sheet.set_column_width(0, 110)?;
    let of_rows = mend_rows::INSTRUCTIONS.iter().filter(|_| in_rows > 0);
    let of_json = INSTRUCTIONS.iter().filter(|_| !in_json.is_empty());
    for (row, line) in (0..).zip(of_rows.chain(of_json)) {
        sheet.write_string_with_format(row, 0, *line, &text)?;
    }
    workbook.save_to_buffer()
}

/// The records that have no rows.
fn in_json(records: &[ReturnedRecord]) -> Vec<&ReturnedRecord> {
    let records = records.iter();
    records.filter(|record| record.rows.is_none()).collect()
}

fn write_row(
    sheet: &mut Worksheet,
    row: u32,
    record: &ReturnedRecord,
    (text, to_correct): (&Format, &Format),
) -> Result<(), XlsxError> {
    let texts = texts(record);
    for (column, cell) in (0..).zip(&texts) {
        let format = match usize::from(column) + 1 == texts.len() {
            true => to_correct,
            false => text,
        };
        // A line's number is our own.
        match (column, u32::try_from(record.line)) {
            (2, Ok(line)) => sheet.write_number(row, column, line)?,
            _ => sheet.write_string_with_format(row, column, cell, format)?,
        };
    }
    Ok(())
}

/// The records that came as JSON as text with commas, in UTF-8 with a byte order mark, by which spreadsheets know it.
///
/// # Errors
/// If the library cannot write it.
pub(crate) fn sheet_csv(records: &[ReturnedRecord]) -> Result<Vec<u8>, Failure> {
    let write = || -> Result<Vec<u8>, csv::Error> {
        let mut table = csv::WriterBuilder::new()
            .terminator(csv::Terminator::CRLF)
            .from_writer("\u{feff}".as_bytes().to_vec());
        table.write_record(COLUMNS)?;
        for record in in_json(records) {
            table.write_record(texts(record).iter().map(|text| neutral(text)))?;
        }
        table
            .into_inner()
            .map_err(|error| csv::Error::from(error.into_error()))
    };
    write().map_err(unmade)
}

/// A text that no spreadsheet takes for a formula.
fn neutral(text: &str) -> String {
    match starts_formula(text) {
        true => format!("'{text}"),
        false => text.to_owned(),
    }
}

/// The cells of a record's row.
fn texts(record: &ReturnedRecord) -> [String; 7] {
    let words = record.in_words();
    let joined = |of: &dyn Fn(&InWords) -> &str| {
        let lines: Vec<&str> = words.iter().map(of).collect();
        shortened(lines.join("\n"))
    };
    let (as_sent, corrected) = match fits_cell(&record.record) {
        true => (record.record.clone(), record.record.clone()),
        false => (
            format!("too long for a cell: see {}", record.own_file()),
            String::new(),
        ),
    };
    [
        record.held_id.clone(),
        shortened(on_one_line(&record.file_name)),
        record.line.to_string(),
        joined(&|words| &words.wrong),
        joined(&|words| &words.right),
        as_sent,
        corrected,
    ]
}

fn unmade(error: impl Into<Cause>) -> Failure {
    Failure::because(
        Kind::Publish,
        "cannot make the spreadsheet of held records",
        error,
    )
}

#[cfg(test)]
mod tests {
    use super::*;
    use scouting::visit::code::Code;
    use scouting::visit::finding::Finding;

    fn record(text: &str) -> ReturnedRecord {
        ReturnedRecord {
            held_id: "01ababababababab-12".to_owned(),
            file_name: "=week30".to_owned(),
            line: 12,
            visit_id: None,
            findings: vec![Finding::new(Code::NotJson, "", "=1", "x")],
            record: text.to_owned(),
            rows: None,
        }
    }

    #[test]
    fn no_cell_of_a_table_of_text_begins_a_formula() {
        let hostile = [
            "=1+1",
            "+1",
            "-1",
            "@a",
            "\t=1",
            "\r=1",
            "\n=1",
            "\u{ff1d}1",
        ];
        let records: Vec<ReturnedRecord> = hostile.iter().map(|text| record(text)).collect();
        let table = sheet_csv(&records).expect("a table");
        let mut reader = csv::Reader::from_reader(&table["\u{feff}".len()..]);
        let rows: Vec<csv::StringRecord> =
            reader.records().map(|row| row.expect("a row")).collect();
        assert_eq!(rows.len(), hostile.len());
        for (row, text) in rows.iter().zip(hostile) {
            assert!(row.iter().all(|cell| !starts_formula(cell)), "{row:?}");
            assert_eq!(&row[6], format!("'{text}"));
        }
    }

    #[test]
    fn a_record_too_long_for_a_cell_is_named_with_its_own_file() {
        let long = record(&"x".repeat(40_000));
        let [.., as_sent, corrected] = texts(&long);
        assert!(as_sent.contains("record-01ababababababab-12.json"));
        assert!(corrected.is_empty());
    }

    #[test]
    fn the_same_records_make_the_same_workbook() {
        let records = [record("{}"), record(&"x".repeat(40_000))];
        assert_eq!(
            sheet_xlsx(&records).expect("a workbook"),
            sheet_xlsx(&records).expect("a workbook")
        );
        sheet_xlsx(&[]).expect("a workbook without records");
    }
}
