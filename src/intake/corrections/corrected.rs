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

use crate::corrections::corrected_rows::settle;
use crate::corrections::sent_out::{HEADER_ROWS_MAX, HELD_ID, column_named, text_of};
use crate::mapping::made_id::prefixes_of;
use crate::read::raw_record::{RawRecord, Sent};
use crate::sheet::table::{Row, Sheet};
use scouting::visit::held_id::HeldId;

/// Header of the column with the record as its sender corrected it.
const RECORD_CORRECTED: &str = "record_corrected";
/// The same in sheets that earlier versions sent out.
const RECORD_MENDED: &str = "record_mended";

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

/// The corrected records of a workbook that `held export` made, each with the number of its row; `None`
/// if it is another workbook. Rows whose `record_corrected` is empty were not corrected here, and give
/// nothing. A row whose `held_id` was changed into something else gives its record without one.
pub(crate) fn corrected_records(sheets: &[Sheet]) -> Option<Vec<RawRecord>> {
    let mut records = None;
    for sheet in sheets {
        let Some((below, columns)) = header(&sheet.rows) else {
            continue;
        };
        let rows = sheet.rows[below..].iter();
        records
            .get_or_insert_with(Vec::new)
            .extend(rows.filter_map(|row| corrected_record(row, columns)));
    }
    records
}

/// Places of the two columns, and of the first row below the header.
fn header(rows: &[Row]) -> Option<(usize, (usize, usize))> {
    rows.iter()
        .take(HEADER_ROWS_MAX)
        .enumerate()
        .find_map(|(place, row)| {
            let columns = (
                column_named(row, HELD_ID)?,
                column_named(row, RECORD_CORRECTED).or_else(|| column_named(row, RECORD_MENDED))?,
            );
            Some((place + 1, columns))
        })
}

fn corrected_record(row: &Row, (id, record): (usize, usize)) -> Option<RawRecord> {
    let text = text_of(row.cells.get(record)?);
    if text.trim().is_empty() {
        return None;
    }
    let mends = row
        .cells
        .get(id)
        .and_then(|cell| text_of(cell).parse().ok());
    Some(RawRecord {
        line: row.number,
        sent: Sent::Bytes(Bytes::from(text)),
        mends,
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
        }
    }

    #[test]
    fn a_sheet_of_ours_is_known_by_its_header_and_hands_in_what_was_corrected() {
        for corrected in [RECORD_CORRECTED, RECORD_MENDED] {
            let records = corrected_records(&[
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
            ]);
            let records: Vec<(u64, bool, String)> = records
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
        assert!(corrected_records(&[sheet(&[&["visit_id", "held_id"], &["a", ID]])]).is_none());
        assert!(corrected_records(&[]).is_none());
    }
}
