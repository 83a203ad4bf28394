//! Held records on their way back to who sent them: what goes into a person's hands.
//!
//! Says for each record what is wrong in plain words, and gives every file of an export a name that
//! no sender can bend. It decides nothing about a record; the spreadsheet is [`super::mend_sheet`]'s and
//! [`super::mend_rows`]'s, the letter [`super::mend_letter`]'s.

use serde::Serialize;
use serde_json::Value;
use serde_json::value::RawValue;
use sha2::{Digest, Sha256};

use super::mend_letter::letter;
use super::mend_rows::table;
use super::mend_sheet::{sheet_csv, sheet_xlsx};
use super::table_files::{TableCell, fits_cell, table_csv};
use crate::failure::Failure;
use crate::visit::finding::Finding;
use crate::visit::words::{InWords, in_words};

/// Characters of a sender's name that stand in the name of a file.
const NAME_LENGTH_MAX: usize = 40;
/// Hexadecimal digits behind it, which keep two senders apart whose names look alike.
const NAME_DIGITS: usize = 8;

/// One held record.
#[derive(Debug, Clone)]
pub struct ReturnedRecord {
    /// Names it; comes back with the mended record.
    pub held_id: String,
    /// File that it came in.
    pub file_name: String,
    /// Line of that file, from 1.
    pub line: u64,
    /// Identity of the visit, if it could be read.
    pub visit_id: Option<String>,
    /// Why it is held.
    pub findings: Vec<Finding>,
    /// The record as sent.
    pub record: String,
    /// The record in columns, if it came as rows of a table and fits into cells.
    pub rows: Option<ReturnedRows>,
}

/// A record that came as rows of a table, in the columns of the plain layout.
#[derive(Debug, Clone)]
pub struct ReturnedRows {
    /// Where its rows stood: `Visits, rows 5 to 9`.
    pub place: String,
    /// Its rows as sent, a line each.
    pub as_sent: String,
    /// How its identity is made; comes back with the rows.
    pub id_recipe: Option<String>,
    /// The columns.
    pub header: Vec<String>,
    /// The rows, at least one.
    pub rows: Vec<ReturnedRow>,
    /// The record in JSON, for programs.
    pub record: Value,
}

/// A row of it.
#[derive(Debug, Clone)]
pub struct ReturnedRow {
    /// Its cells, as many as there are columns.
    pub cells: Vec<TableCell>,
    /// What is to be mended in it.
    pub to_mend: Vec<ReturnedMend>,
}

/// One thing to be mended.
#[derive(Debug, Clone)]
pub struct ReturnedMend {
    /// Places of the columns where.
    pub columns: Vec<usize>,
    /// What is wrong, in words.
    pub wrong: String,
    /// What would be right.
    pub right: String,
}

impl ReturnedRow {
    /// Whether something is to be mended in this column.
    pub fn is_to_mend(&self, column: usize) -> bool {
        self.to_mend
            .iter()
            .any(|mend| mend.columns.contains(&column))
    }
}

impl ReturnedRecord {
    /// What is wrong, in words.
    pub fn in_words(&self) -> Vec<InWords> {
        if let Some(rows) = &self.rows {
            let to_mend = rows.rows.iter().flat_map(|row| &row.to_mend);
            let words = to_mend.map(|mend| InWords {
                wrong: mend.wrong.clone(),
                right: mend.right.clone(),
            });
            return words.collect();
        }
        let record: Option<Value> = serde_json::from_str(&self.record).ok();
        self.findings
            .iter()
            .map(|finding| in_words(finding, record.as_ref()))
            .collect()
    }

    /// Where it stood in its file.
    pub fn place(&self) -> String {
        match &self.rows {
            Some(rows) => rows.place.clone(),
            None => format!("line {}", self.line),
        }
    }

    /// One line of JSON with the record inside, for `load` to take back.
    pub fn wrapped(&self) -> String {
        #[derive(Serialize)]
        struct Wrapped<'a> {
            held_id: &'a str,
            file: &'a str,
            line: u64,
            reasons: Vec<String>,
            #[serde(skip_serializing_if = "Option::is_none")]
            as_sent: Option<&'a str>,
            #[serde(skip_serializing_if = "Option::is_none")]
            held_visit_id_from: Option<&'a str>,
            record: Box<RawValue>,
        }
        let reasons = self.in_words();
        let wrapped = Wrapped {
            held_id: &self.held_id,
            file: &self.file_name,
            line: self.line,
            reasons: reasons
                .iter()
                .map(|words| format!("{}; {}", words.wrong, words.right))
                .collect(),
            as_sent: self.rows.as_ref().map(|rows| &*rows.as_sent),
            held_visit_id_from: self
                .rows
                .as_ref()
                .and_then(|rows| rows.id_recipe.as_deref()),
            record: self.as_json(),
        };
        serde_json::to_string(&wrapped).expect("texts and a number are plain JSON")
    }

    /// The record as one line of JSON: as it stands if it is some, else as a text. A JSON text is
    /// wrapped like no JSON, so that what comes back is told apart.
    fn as_json(&self) -> Box<RawValue> {
        // A line break between two members is white space, and within a text it would be no JSON.
        let own = self.rows.as_ref().map(|rows| rows.record.to_string());
        let one_line = own
            .as_ref()
            .unwrap_or(&self.record)
            .replace(['\n', '\r'], " ");
        let raw = serde_json::value::RawValue::from_string(one_line).ok();
        raw.filter(|raw| !raw.get().starts_with('"'))
            .unwrap_or_else(|| {
                serde_json::value::to_raw_value(&self.record)
                    .expect("every text can be written as JSON")
            })
    }

    /// Name of the file of its own that a record gets which is too long for a cell.
    pub fn own_file(&self) -> String {
        format!("record-{}.json", self.held_id)
    }
}

/// The form in which records go back.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum ReturnForm {
    /// A spreadsheet.
    Xlsx,
    /// A table of text for a spreadsheet.
    Csv,
    /// One wrapped record a line, for programs.
    Ndjson,
}

/// The files of one sender, by plain names: the records, the letter, and a file for each record that
/// is too long for a cell. `sender` is what the names are made of.
///
/// # Errors
/// If the spreadsheet cannot be made.
pub fn files_of_sender(
    sender: &str,
    records: &[ReturnedRecord],
    form: ReturnForm,
) -> Result<Vec<(String, Vec<u8>)>, Failure> {
    let name = safe_name(sender);
    let file = |kind: &str, content: Vec<u8>| (format!("{name}{kind}"), content);
    let (in_rows, in_json): (Vec<&ReturnedRecord>, Vec<&ReturnedRecord>) =
        records.iter().partition(|record| record.rows.is_some());
    let mut sheets = Vec::new();
    match form {
        ReturnForm::Xlsx => sheets.push(file(".xlsx", sheet_xlsx(records)?)),
        ReturnForm::Ndjson => sheets.push(file(".ndjson", lines(records).into_bytes())),
        // A table of text has one header.
        ReturnForm::Csv => {
            if !in_json.is_empty() {
                sheets.push(file(".csv", sheet_csv(records)?));
            }
            if !in_rows.is_empty() {
                let (header, rows) = table(records);
                let rows = rows.iter().map(Vec::as_slice);
                sheets.push(file(".visits.csv", table_csv(&header, rows)?));
            }
        }
    }
    let names: Vec<&str> = sheets.iter().map(|(name, _)| name.as_str()).collect();
    let text = letter(records, &names, form);
    let mut files = vec![file(".letter.txt", text.into_bytes())];
    files.extend(sheets);
    if form != ReturnForm::Ndjson {
        let long = in_json.iter().filter(|record| !fits_cell(&record.record));
        files.extend(long.map(|record| {
            let line = record.wrapped() + "\n";
            (record.own_file(), line.into_bytes())
        }));
    }
    Ok(files)
}

fn lines(records: &[ReturnedRecord]) -> String {
    records
        .iter()
        .map(|record| record.wrapped() + "\n")
        .collect()
}

/// A name for files out of any text: small letters, digits and hyphens alone, and behind them digits
/// of the text's SHA-256. No path, no reserved name, and no two for one.
pub fn safe_name(text: &str) -> String {
    let letters = text.chars().map(|character| match character {
        'a'..='z' | '0'..='9' => character,
        'A'..='Z' => character.to_ascii_lowercase(),
        _ => '-',
    });
    let shown: String = letters.take(NAME_LENGTH_MAX).collect();
    let hash = Sha256::digest(text.as_bytes());
    let digits: String = hash.iter().map(|byte| format!("{byte:02x}")).collect();
    let digits = &digits[..NAME_DIGITS];
    match shown.trim_matches('-') {
        "" => format!("sender-{digits}"),
        shown => format!("{shown}-{digits}"),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::visit::code::Code;

    fn record(text: &str) -> ReturnedRecord {
        ReturnedRecord {
            held_id: "01ababababababab-12".to_owned(),
            file_name: "week30.ndjson".to_owned(),
            line: 12,
            visit_id: None,
            findings: vec![Finding::new(
                Code::WrongType,
                "/sites/0/plants/0",
                "-1",
                "x",
            )],
            record: text.to_owned(),
            rows: None,
        }
    }

    #[test]
    fn a_name_is_no_path_and_no_two_senders_share_one() {
        let names = [
            "obs-0123",
            "Obs-0123",
            "../../x",
            concat!("C:", "\\x"),
            "CON",
            "a\0b",
            "",
            "..",
            "%2e%2e",
            "ä",
            "ö",
            &"x".repeat(300),
        ]
        .map(safe_name);
        for name in &names {
            assert!(name.len() <= NAME_LENGTH_MAX + 1 + NAME_DIGITS, "{name}");
            assert!(
                name.chars()
                    .all(|c| c.is_ascii_lowercase() || c.is_ascii_digit() || c == '-')
            );
            assert!(!name.starts_with('-'), "{name}");
        }
        let different: std::collections::HashSet<&String> = names.iter().collect();
        assert_eq!(different.len(), names.len());
        assert!(names[0].starts_with("obs-0123-"));
    }

    #[test]
    fn a_record_is_wrapped_on_one_line_as_it_was_sent() {
        let json = |text: &str| serde_json::from_str::<Value>(&record(text).wrapped()).unwrap();
        let kept = r#"{"b":1.0,  "a":[1e2]}"#;
        assert!(record(kept).wrapped().contains(kept));
        let spread = "{\n \"a\": 1\r\n}";
        assert!(!record(spread).wrapped().contains('\n'));
        assert_eq!(json(spread)["record"]["a"], 1);
        for text in ["{\"a\":\n", "garbage", "\"a text\"", "", "\u{feff}{}"] {
            assert_eq!(json(text)["record"], text, "{text}");
        }
        assert_eq!(
            json("{}")["reasons"][0],
            "site 1, plant 1: \u{2212}1; a count is a whole number, 0 or more"
        );
    }
}
