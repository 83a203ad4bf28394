//! Corrected records on their way back: which held record each is meant to correct.
//!
//! `held export` hands out records of JSON in two forms, and both come back here: lines in which the
//! record is wrapped (`{"held_id":…,"reasons":…,"record":…}`), and sheets with the columns `held_id` and
//! `record_corrected`. What had come as rows goes out and back as rows: [`crate::corrections::corrected_rows`]. Whether the
//! record is sound now is the judge's to say, as of any other.

use std::borrow::Cow;

use bytes::Bytes;
use serde::Deserialize;
use serde_json::value::RawValue;
use serde_json::{Map, Value};

use crate::corrections::made_identity::settle;
use crate::corrections::returned::{Clues, Returned};
use crate::corrections::returned_header::{lost_column, others_in_words, sheet_in_words};
use crate::corrections::sent_out::{HEADER_ROWS_MAX, HELD_ID, column_named, first_text, text_of};
use crate::mapping::made_id::prefixes_of;
use crate::read::raw_record::{RawRecord, Sent};
use crate::sheet::table::{Row, Sheet};
use scouting::failure::Failure;
use scouting::visit::held_id::HeldId;

/// Header of the column with the record as its sender corrected it.
const RECORD_CORRECTED: &str = "record_corrected";
/// The same in sheets that earlier versions sent out.
const RECORD_MENDED: &str = "record_mended";
/// Columns that say where the held record was, and what was sent.
const FILE: &str = "file";
const LINE: &str = "line";
const AS_SENT: &str = "record as sent";
/// The columns besides the two that `load` looks for.
const OTHERS: [&str; 5] = [FILE, LINE, "problem", "expected", AS_SENT];
/// So many of them are a sheet of ours, whatever became of the two.
const OTHERS_LEFT: usize = 4;

/// A line as `held export --format ndjson` writes it; other members are for the reader.
#[derive(Deserialize)]
struct Wrapped<'a> {
    #[serde(borrow)]
    held_id: Cow<'a, str>,
    /// How the record's identity is made, if it bears none.
    held_visit_id_from: Option<String>,
    #[serde(borrow)]
    record: &'a RawValue,
}

/// The record inside a wrapped one; any other record as it is. No visit has the members `held_id` and
/// `record`, so nothing that is a visit is taken for a wrapped one.
pub(crate) fn unwrapped(raw: RawRecord) -> RawRecord {
    let (Sent::Bytes(bytes), None) = (&raw.sent, raw.mends) else {
        return raw;
    };
    // Most records are not wrapped, and are not read for that.
    if memchr::memmem::find(bytes, b"\"held_id\"").is_none() {
        return raw;
    }
    match inner(bytes) {
        Some((mends, bytes)) => RawRecord {
            line: raw.line,
            sent: Sent::Bytes(bytes),
            mends: Some(mends),
            returned: None,
        },
        None => raw,
    }
}

fn inner(bytes: &Bytes) -> Option<(HeldId, Bytes)> {
    let text = std::str::from_utf8(bytes).ok()?;
    let text = text.strip_prefix('\u{feff}').unwrap_or(text);
    let wrapped: Wrapped<'_> = serde_json::from_str(text).ok()?;
    let mends = wrapped.held_id.parse().ok()?;
    let record = wrapped.record.get();
    // What was no JSON is wrapped as a text; a visit is never one.
    if let Ok(text) = serde_json::from_str::<String>(record) {
        return Some((mends, Bytes::from(text)));
    }
    let own = bytes.slice_ref(record.as_bytes());
    let made = wrapped
        .held_visit_id_from
        .and_then(|recipe| identified(record, &recipe));
    Some((mends, made.map_or(own, Bytes::from)))
}

/// A record with the identity that its recipe makes; `None` if it is no object.
fn identified(record: &str, recipe: &str) -> Option<String> {
    let mut members: Map<String, Value> = serde_json::from_str(record).ok()?;
    settle(&mut members, recipe);
    // As a record by itself it brings no recipe along, so the prefixes are put here.
    prefixes_of(recipe).0.put_in(&mut members);
    Some(Value::Object(members).to_string())
}

/// The corrected records of a workbook that `held export` made of JSON, each with the number of its row; `None`
/// if it is another workbook. Rows whose `record_corrected` is empty were not corrected here, and give
/// nothing. A row that has lost its `held_id` says by its other columns which record it corrects.
///
/// # Errors
/// If the column of the corrected records is lost.
pub(crate) fn corrected_records(
    sheets: &[Sheet],
    file_name: &str,
) -> Option<Result<Vec<RawRecord>, Failure>> {
    let mut records = None;
    for sheet in sheets {
        let Some(place) = header(&sheet.rows) else {
            continue;
        };
        let header = &sheet.rows[place];
        let Some(corrected) = corrected_column(header) else {
            return Some(Err(lost(sheet, header, file_name)));
        };
        let rows = sheet.rows[place + 1..].iter();
        records
            .get_or_insert_with(Vec::new)
            .extend(rows.filter_map(|row| corrected_record(header, row, corrected)));
    }
    records.map(Ok)
}

/// The place of our header: it has both columns that matter, or most of the others.
fn header(rows: &[Row]) -> Option<usize> {
    rows.iter().take(HEADER_ROWS_MAX).position(|row| {
        let has = |name: &str| column_named(row, name).is_some();
        let others = OTHERS.iter().filter(|name| has(name)).count();
        has(HELD_ID) && corrected_column(row).is_some() || others >= OTHERS_LEFT
    })
}

fn corrected_column(header: &Row) -> Option<usize> {
    column_named(header, RECORD_CORRECTED).or_else(|| column_named(header, RECORD_MENDED))
}

fn lost(sheet: &Sheet, header: &Row, file_name: &str) -> Failure {
    let is_own =
        |name: &String| !name.is_empty() && name != HELD_ID && !OTHERS.contains(&name.as_str());
    let names = header
        .cells
        .iter()
        .map(|cell| text_of(cell).trim().to_owned());
    let own: Vec<String> = names
        .filter(is_own)
        .map(|name| format!("{name:?}"))
        .collect();
    let others = others_in_words(&own);
    let what = format!(
        "{} lacks the column {RECORD_CORRECTED:?}, which holds the corrected records{others}",
        sheet_in_words(sheet)
    );
    lost_column(file_name, &what).at(format!("row {}", header.number))
}

fn corrected_record(header: &Row, row: &Row, corrected: usize) -> Option<RawRecord> {
    let text = text_of(row.cells.get(corrected)?);
    if text.trim().is_empty() {
        return None;
    }
    let said = |name| first_text(header, &[row], name).unwrap_or_default();
    Some(RawRecord {
        line: row.number,
        sent: Sent::Bytes(Bytes::from(text)),
        mends: said(HELD_ID).parse().ok(),
        returned: Some(Box::new(Returned {
            clues: Clues {
                file: said(FILE),
                place: said(LINE),
                as_sent: said(AS_SENT),
            },
            ..Returned::default()
        })),
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::sheet::table::Cell;

    const ID: &str = "01ababababababab-12";

    fn raw(text: &str) -> RawRecord {
        RawRecord {
            line: 3,
            sent: Sent::Bytes(Bytes::copy_from_slice(text.as_bytes())),
            mends: None,
            returned: None,
        }
    }

    #[test]
    fn a_wrapped_record_is_unwrapped_byte_for_byte() {
        let record = r#"{"visit_id":"a",  "held_id":1, "remarks":"\u00e9"}"#;
        for wrapped in [
            format!(r#"{{"held_id":"{ID}","reasons":["x"],"record":{record}}}"#),
            format!("\u{feff}{{ \"record\" : {record} , \"held_id\":\"{ID}\"}}"),
        ] {
            let unwrapped = unwrapped(raw(&wrapped));
            assert_eq!(unwrapped.mends, Some(ID.parse().unwrap()));
            assert_eq!(unwrapped.kept(), record.as_bytes());
            assert_eq!(unwrapped.line, 3);
        }
    }

    #[test]
    fn what_was_no_json_is_wrapped_as_a_text() {
        let wrapped = format!(r#"{{"held_id":"{ID}","record":"{{\"visit_id\":"}}"#);
        assert_eq!(
            unwrapped(raw(&wrapped)).kept(),
            r#"{"visit_id":"#.as_bytes()
        );
    }

    #[test]
    fn whatever_is_not_wrapped_stays_as_it_is() {
        for text in [
            r#"{"visit_id":"a"}"#,
            r#"{"remarks":"\"held_id\" and \"record\""}"#,
            r#"{"held_id":"x","record":{}}"#,
            &format!(r#"{{"held_id":"{ID}"}}"#),
            &format!(r#"{{"held_id":"{ID}","held_id":"{ID}","record":{{}}}}"#),
            &format!(r#"{{"held_id":"{ID}","record":{{}}"#),
            &format!(r#"[{{"held_id":"{ID}","record":{{}}}}]"#),
        ] {
            let unwrapped = unwrapped(raw(text));
            assert_eq!(unwrapped.mends, None, "{text}");
            assert_eq!(unwrapped.kept(), text.as_bytes());
        }
    }

    fn sheet(rows: &[&[&str]]) -> Sheet {
        let row = |(number, cells): (u64, &&[&str])| Row {
            number,
            cells: cells
                .iter()
                .map(|text| match *text {
                    "" => Cell::Empty,
                    text => Cell::Text(text.to_owned()),
                })
                .collect(),
        };
        Sheet {
            name: String::new(),
            rows: (1..).zip(rows).map(row).collect(),
            lists: None,
        }
    }

    #[test]
    fn a_sheet_of_ours_is_known_by_its_header_and_hands_in_what_was_corrected() {
        for corrected in [RECORD_CORRECTED, RECORD_MENDED] {
            let records = corrected_records(
                &[
                    sheet(&[&["how to use this workbook"]]),
                    sheet(&[
                        &["records to correct"],
                        &["line", "held_id", "record_as_sent", corrected],
                        &["1", ID, "{", "{}"],
                        &["2", ID, "{", ""],
                        &["3", ID, "{"],
                        &["4", "changed", "{", "{\"a\":1}"],
                        &["5", ID, "=1", "'=1"],
                        &["6", ID, "'a'", "'a'"],
                        &[],
                    ]),
                ],
                "a.xlsx",
            );
            let records: Vec<(u64, bool, String)> = records
                .unwrap()
                .unwrap()
                .into_iter()
                .map(|record| {
                    let text = String::from_utf8(record.kept().to_vec()).unwrap();
                    (record.line, record.mends.is_some(), text)
                })
                .collect();
            let expected = [
                (3, true, "{}"),
                (6, false, "{\"a\":1}"),
                (7, true, "=1"),
                (8, true, "'a'"),
            ];
            assert_eq!(
                records,
                expected.map(|(line, mends, text)| (line, mends, text.to_owned()))
            );
        }
        let other = [sheet(&[&["visit_id", "held_id"], &["a", ID]])];
        assert!(corrected_records(&other, "a.xlsx").is_none());
        assert!(corrected_records(&[], "a.xlsx").is_none());
    }

    #[test]
    fn a_sheet_that_has_lost_its_ids_is_known_and_one_without_corrections_is_refused_with_the_name()
    {
        let columns = ["file", "line", "problem", "expected", "record as sent"];
        let with = |last: &'static str| {
            let header: Vec<&str> = columns.into_iter().chain([last]).collect();
            [sheet(&[
                &header,
                &["week.ndjson", "7", "x", "y", "{", "{}"],
            ])]
        };
        let records = corrected_records(&with(RECORD_CORRECTED), "a.xlsx");
        let records = records.unwrap().unwrap();
        let clues = &records[0].returned.as_ref().unwrap().clues;
        assert_eq!(
            (&*clues.file, &*clues.place, &*clues.as_sent),
            ("week.ndjson", "7", "{")
        );
        let refused = corrected_records(&with("record_fixed"), "a.xlsx");
        let refused = refused.unwrap().unwrap_err().to_string();
        assert!(
            refused.contains("\"record_corrected\"") && refused.contains("\"record_fixed\""),
            "{refused}"
        );
    }
}
