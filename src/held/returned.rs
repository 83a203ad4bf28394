//! Held records on their way back to who sent them: what goes into a person's hands.
//!
//! Says for each record what is wrong in plain words, and gives every file of an export a name that
//! no sender can bend. It decides nothing about a record; the spreadsheet is [`super::sheet`]'s and
//! [`super::rows`]'s, the letter [`super::letter`]'s.

use sha2::{Digest, Sha256};

use super::letter::letter;
use super::record::{ReturnForm, ReturnedRecord};
use super::rows::table;
use super::sheet::{sheet_csv, sheet_xlsx};
use crate::shared::table_files::{fits_cell, table_csv};
use crate::workspace::contacts::{Contact, addressed};
use scouting::failure::Failure;

/// Characters of a sender's name that are kept in the name of a file.
const NAME_LENGTH_MAX: usize = 40;
/// Hexadecimal digits behind it, which keep two senders apart whose names look alike.
const NAME_DIGITS: usize = 8;

/// The files of one sender, by plain names: the records, the letter, and a file for each record that
/// is too long for a cell. `sender` is what the names are made of, `contact` whom the letter addresses.
///
/// # Errors
/// If the spreadsheet cannot be made.
pub(crate) fn files_of_sender(
    sender: &str,
    records: &[ReturnedRecord],
    form: ReturnForm,
    contact: Option<&Contact>,
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
    let text = addressed(contact, &letter(records, &names, form));
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
pub(crate) fn safe_name(text: &str) -> String {
    let letters = text.chars().map(|character| match character {
        'a'..='z' | '0'..='9' => character,
        'A'..='Z' => character.to_ascii_lowercase(),
        _ => '-',
    });
    let shown: String = letters.take(NAME_LENGTH_MAX).collect();
    let hash = Sha256::digest(text.as_bytes());
    let digits = format!("{hash:x}");
    let digits = &digits[..NAME_DIGITS];
    match shown.trim_matches('-') {
        "" => format!("sender-{digits}"),
        shown => format!("{shown}-{digits}"),
    }
}

#[cfg(test)]
mod tests {
    use serde_json::Value;

    use super::*;
    use scouting::visit::code::Code;
    use scouting::visit::finding::Finding;

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
