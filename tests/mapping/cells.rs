//! Each kind of cell gives its value or its finding.

use intake::sheet::table::Cell;
use jiff::civil::date;
use serde_json::{Value, json};

use super::{base_sheet, document, findings, records, text};
use crate::support::mapping::BASE;

#[test]
fn each_cell_gives_its_value_or_its_finding() {
    let eggs = "/sites/0/heads/0/0";
    let (day, area, price, lon, id) = (
        "/observed_on",
        "/field/area_ha",
        "/economics/market_value/amount",
        "/field/lon",
        "/field/field_id",
    );
    let july = date(2026, 7, 21);
    let cases: Vec<(Cell, &str, Result<Value, &str>)> = vec![
        (text("12"), eggs, Ok(json!(12))),
        (text(" 12\u{a0}"), eggs, Ok(json!(12))),
        (Cell::Number(12.0), eggs, Ok(json!(12))),
        (text("0"), eggs, Ok(json!(0))),
        (Cell::Empty, eggs, Err("unit-blank")),
        (text("  "), eggs, Err("unit-blank")),
        (text("-"), eggs, Err("number-is-a-mark")),
        (text("n/a"), eggs, Err("number-in-words")),
        (text("trace"), eggs, Err("number-in-words")),
        (text("<5"), eggs, Err("number-not-exact")),
        (text("10+"), eggs, Err("number-not-exact")),
        (text("5-10"), eggs, Err("number-is-a-range")),
        (text("½"), eggs, Err("number-is-a-fraction")),
        (text("1 1/2"), eggs, Err("number-is-a-fraction")),
        (text("12 (est)"), eggs, Err("number-with-text")),
        (text("1,5"), eggs, Err("number-ambiguous")),
        (text("1.234"), eggs, Err("number-ambiguous")),
        (text("1 234"), eggs, Err("number-ambiguous")),
        (text("1.5"), eggs, Err("count-not-whole")),
        (Cell::Number(1.5), eggs, Err("count-not-whole")),
        (Cell::Date(july), eggs, Err("date-in-number")),
        (Cell::Truth(true), eggs, Err("wrong-kind")),
        (Cell::Broken("#DIV/0!".to_owned()), eggs, Err("cell-broken")),
        (text("٣"), eggs, Err("digits-unfamiliar")),
        (text("2026-07-21"), day, Ok(json!("2026-07-21"))),
        (Cell::Date(july), day, Ok(json!("2026-07-21"))),
        (
            Cell::Moment(july.at(13, 0, 0, 0)),
            day,
            Ok(json!("2026-07-21")),
        ),
        (text("6/7/2026"), day, Err("date-ambiguous")),
        (text("21/7/2026"), day, Err("date-unreadable")),
        (text("2026-02-30"), day, Err("date-unreadable")),
        (Cell::Number(46_224.0), day, Err("date-is-a-number")),
        (Cell::Empty, day, Err("cell-blank")),
        (text("62.5"), area, Ok(json!(62.5))),
        (text("62.500"), area, Err("number-ambiguous")),
        (text("62.5 ac"), area, Err("unit-in-cell")),
        (text("62.5 ha"), area, Err("unit-in-cell")),
        (Cell::Date(date(2026, 1, 2)), area, Err("date-in-number")),
        (text("$0.16"), price, Err("number-with-text")),
        (text("0,16"), price, Err("number-ambiguous")),
        (Cell::Number(0.16), price, Ok(json!(0.16))),
        (text("-100.123"), lon, Ok(json!(-100.123))),
        (text("100° 7' W"), lon, Err("angle-not-decimal")),
        (text("007"), id, Ok(json!("007"))),
        (Cell::Number(7.0), id, Ok(json!("7"))),
        (
            Cell::Number(123_456_789_012_345_680.0),
            id,
            Err("id-lost-digits"),
        ),
        (text("1.23E+11"), id, Err("id-lost-digits")),
        (Cell::Date(july), id, Err("date-in-text")),
        (text("\""), id, Err("ditto-unexplained")),
        (text("Cafe\u{301} 1"), id, Ok(json!("Caf\u{e9} 1"))),
    ];
    let columns = [
        (id, 1),
        (day, 2),
        (lon, 3),
        (area, 5),
        (price, 6),
        (eggs, 7),
    ];
    for (cell, pointer, wanted) in cases {
        let column = columns
            .iter()
            .find(|column| column.0 == pointer)
            .expect("a column")
            .1;
        let sheet = base_sheet(|rows| rows[1][column] = cell.clone());
        let record = &records(BASE, sheet)[0];
        match wanted {
            Ok(value) => {
                assert_eq!(document(record).pointer(pointer), Some(&value), "{cell:?}");
            }
            Err(code) => {
                let [finding] = findings(record) else {
                    panic!("{cell:?}: {record:?}")
                };
                assert_eq!(finding.code.as_str(), code, "{cell:?}: {finding}");
                assert!(pointer.starts_with(&finding.pointer), "{finding}");
                let place = &record.places[&finding.pointer];
                assert!(
                    finding.found.starts_with(place.as_str()),
                    "{finding} at {place}"
                );
            }
        }
    }
}

#[test]
fn a_finding_names_the_cell_and_shows_both_readings() {
    let sheet = base_sheet(|rows| {
        rows[1][2] = text("6/7/2026");
        rows[1][7] = text("12 (est)");
    });
    let record = &records(BASE, sheet)[0];
    let found: Vec<&str> = findings(record)
        .iter()
        .map(|finding| finding.found.as_str())
        .collect();
    assert_eq!(
        found,
        [
            "Visits!C2 (Date): \"6/7/2026\"",
            "Visits!H2 (Eggs): \"12 (est)\""
        ]
    );
    let expected = &findings(record)[0].expected;
    assert!(
        expected.contains("2026-06-07") && expected.contains("2026-07-06"),
        "{expected}"
    );
    assert_eq!(record.line, 2);
    let sent: Value = serde_json::from_str(&record.as_sent).expect("JSON");
    assert_eq!(sent["sheet"], "Visits");
    assert_eq!(sent["header"][7], "Eggs");
    assert_eq!(sent["rows"][0]["row"], 2);
    assert_eq!(sent["rows"][0]["cells"][7], "12 (est)");
}
