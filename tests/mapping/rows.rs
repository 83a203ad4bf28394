//! Rows of one visit: grouped by their key, carried down, and complete or held.

use intake::sheet::table::{Cell, Sheet};
use serde_json::{Value, json};

use super::{base_header, base_row, document, findings, records, sheet, text};
use crate::support::mapping::BASE;

/// The base mapping for rows that are heads of sites.
fn by_head() -> String {
    BASE.replace(
        "rowIs = \"visit\"",
        "rowIs = \"head\"\nvisitKey = [\"/visit_id\"]",
    ) + "\n[[field]]\nname = \"Site\"\nto = \"/sites/{site}/site\"\n"
}

fn head_row(id: &str, site: Cell, eggs: Cell) -> Vec<Cell> {
    let mut row = base_row();
    row[0] = if id.is_empty() { Cell::Empty } else { text(id) };
    row[7] = eggs;
    row.push(site);
    row
}

fn head_sheet(rows: Vec<Vec<Cell>>) -> Sheet {
    let mut header = base_header();
    header.push(text("Site"));
    sheet("Visits", [vec![header], rows].concat())
}

#[test]
fn rows_of_one_visit_need_not_stand_together() {
    let number = Cell::Number;
    let sheet = head_sheet(vec![
        head_row("v-1", number(1.0), number(1.0)),
        head_row("v-2", number(1.0), number(9.0)),
        head_row("v-1", number(2.0), number(3.0)),
        head_row("v-1", number(1.0), number(2.0)),
    ]);
    let made = records(&by_head(), sheet);
    assert_eq!(made.len(), 2);
    assert_eq!(
        document(&made[0])["sites"],
        json!([{"site": 1, "heads": [[1], [2]]}, {"site": 2, "heads": [[3]]}])
    );
    assert_eq!(made[0].places[""], "Visits, rows 2 to 5");
    assert_eq!(
        document(&made[1])["sites"],
        json!([{"site": 1, "heads": [[9]]}])
    );
}

#[test]
fn every_row_ends_in_one_record_whatever_its_key_says() {
    let number = Cell::Number;
    let mapping_text = by_head().replace("[\"/visit_id\"]", "[\"/visit_id\", \"/observed_on\"]");
    let mut ambiguous = head_row("v-1", number(1.0), number(1.0));
    ambiguous[2] = text("6/7/2026");
    let mut blank = head_row("", number(1.0), number(1.0));
    blank[2] = Cell::Empty;
    let sheet = head_sheet(vec![ambiguous.clone(), ambiguous, blank.clone(), blank]);
    let made = records(&mapping_text, sheet);
    let codes: Vec<Vec<&str>> = made
        .iter()
        .map(|record| {
            findings(record)
                .iter()
                .map(|finding| finding.code.as_str())
                .collect()
        })
        .collect();
    assert_eq!(
        codes[0],
        ["key-blank", "date-ambiguous"],
        "rows below without a key, and two rows with one bad date: one finding each"
    );
    assert_eq!(made.len(), 3);
    assert!(
        codes[1].contains(&"key-blank") && codes[2].contains(&"key-blank"),
        "{codes:?}"
    );
    let sent: Value = serde_json::from_str(&made[0].as_sent).expect("JSON");
    assert_eq!(sent["rows"].as_array().map(Vec::len), Some(2));
}

#[test]
fn what_rows_of_a_visit_say_must_agree() {
    let number = Cell::Number;
    let mut other = head_row("v-1", number(1.0), number(2.0));
    other[5] = text("99");
    let sheet = head_sheet(vec![head_row("v-1", number(1.0), number(1.0)), other]);
    let made = records(&by_head(), sheet);
    let [finding] = findings(&made[0]) else {
        panic!("{made:?}")
    };
    assert_eq!(
        (finding.code.as_str(), finding.pointer.as_str()),
        ("rows-disagree", "/field/area_ha")
    );
    assert!(finding.found.starts_with("Visits!F3 (Area)"), "{finding}");
    assert!(finding.expected.contains("Visits!F2 (Area)"), "{finding}");
}

#[test]
fn cells_are_carried_down_only_where_the_mapping_says_so() {
    let number = Cell::Number;
    let rows = || {
        vec![
            head_row("v-1", number(1.0), number(1.0)),
            head_row("", Cell::Empty, number(2.0)),
            head_row("\"", text("〃"), number(3.0)),
        ]
    };
    let fill = by_head()
        .replace("name = \"Id\"\n", "name = \"Id\"\nfillDown = true\n")
        .replace("name = \"Site\"\n", "name = \"Site\"\nfillDown = true\n");
    let made = records(&fill, head_sheet(rows()));
    assert_eq!(
        document(&made[0])["sites"],
        json!([{"site": 1, "heads": [[1], [2], [3]]}])
    );
    let made = records(&by_head(), head_sheet(rows()));
    assert_eq!(made.len(), 3);
    // Whose are the counts of row 3? The visit above is not whole without them, if they are its own.
    let [finding] = findings(&made[0]) else {
        panic!("{made:?}")
    };
    assert_eq!(finding.code.as_str(), "key-blank");
    assert!(finding.found.starts_with("Visits, row 3"), "{finding}");
    assert!(finding.expected.contains("continues"), "{finding}");
    assert!(
        findings(&made[1])
            .iter()
            .any(|finding| finding.code.as_str() == "key-blank")
    );
    assert!(
        findings(&made[2])
            .iter()
            .any(|finding| finding.code.as_str() == "ditto-unexplained")
    );
}

#[test]
fn a_visit_is_not_whole_while_counts_below_it_name_no_visit() {
    let number = Cell::Number;
    let held = |by: &str, rows: Vec<Vec<Cell>>| -> Vec<bool> {
        let mapping_text = by_head().replace("[\"/visit_id\"]", by);
        let made = records(&mapping_text, head_sheet(rows));
        made.iter().map(|record| record.document.is_err()).collect()
    };
    let named = |id: &str| head_row(id, number(1.0), number(1.0));
    let unnamed = || head_row("", number(1.0), number(1.0));
    let by_id = "[\"/visit_id\"]";
    assert_eq!(
        held(by_id, vec![named("v-1"), named("v-2"), unnamed()]),
        [false, true, true],
        "the visit above alone"
    );
    let mut note = head_row("", Cell::Empty, Cell::Empty);
    note[5] = Cell::Empty;
    assert_eq!(
        held(by_id, vec![named("v-1"), note]),
        [false, true],
        "a row without counts is nobody's"
    );
    // Half of a key: only if it is that of the visit above.
    let half = |field: &str| {
        let mut row = unnamed();
        row[1] = text(field);
        row
    };
    let mut whole = named("v-1");
    whole[1] = text("F-1");
    let by_two = "[\"/visit_id\", \"/field/field_id\"]";
    assert_eq!(held(by_two, vec![whole.clone(), half("F-1")]), [true, true]);
    assert_eq!(held(by_two, vec![whole, half("F-2")]), [false, true]);
}

#[test]
fn a_bract_that_is_missing_or_stands_twice_is_found() {
    let mapping_text = by_head().replace("rowIs = \"head\"", "rowIs = \"bract\"")
        + "\n[[field]]\nname = \"Bud\"\nto = \"{head}\"\n\n[[field]]\nname = \"Bract\"\nto = \"{bract}\"\n";
    let rows_of = |bracts: &[f64]| {
        let mut header = base_header();
        header.extend(["Site", "Bud", "Bract"].map(text));
        let rows = bracts.iter().map(|bract| {
            let mut row = head_row("v-1", Cell::Number(1.0), Cell::Number(bract + 10.0));
            row.extend([Cell::Number(1.0), Cell::Number(*bract)]);
            row
        });
        sheet("Visits", std::iter::once(header).chain(rows).collect())
    };
    let made = records(&mapping_text, rows_of(&[3.0, 1.0, 2.0]));
    assert_eq!(
        document(&made[0])["sites"][0]["heads"],
        json!([[11, 12, 13]])
    );
    for (bracts, code) in [
        (&[1.0, 3.0], "bract-missing"),
        (&[1.0, 1.0], "count-repeated"),
    ] {
        let made = records(&mapping_text, rows_of(bracts));
        assert_eq!(findings(&made[0])[0].code.as_str(), code);
    }
}

#[test]
fn blank_heads_are_held_unless_the_mapping_says_that_they_were_not_examined() {
    let wide = BASE.replace(
        "name = \"Eggs\"\nto = \"/sites/{site}/heads/{head}/{bract}\"",
        "namePattern = '^H(?<head>[0-9])B(?<bract>[0-9])$'\nto = \"/sites/{site}/heads/{head}/{bract}\"",
    );
    let sheet_of = |counts: [Cell; 4]| {
        let mut header = base_header();
        header.truncate(7);
        header.extend(["H1B1", "H1B2", "H2B1", "H2B2"].map(text));
        let mut row = base_row();
        row.truncate(7);
        row.extend(counts);
        sheet("Visits", vec![header, row])
    };
    let [one, two] = [Cell::Number(1.0), Cell::Number(2.0)];
    let blank_head = || sheet_of([one.clone(), two.clone(), Cell::Empty, Cell::Empty]);
    assert_eq!(
        findings(&records(&wide, blank_head())[0])[0].code.as_str(),
        "unit-blank"
    );
    let not_examined = wide.replace(
        "rowIs = \"visit\"",
        "rowIs = \"visit\"\nblankUnits = \"notExamined\"",
    );
    let made = records(&not_examined, blank_head());
    assert_eq!(document(&made[0])["sites"][0]["heads"], json!([[1, 2]]));
    let made = records(
        &not_examined,
        sheet_of([one.clone(), Cell::Empty, Cell::Empty, two]),
    );
    let codes: Vec<(&str, &str)> = findings(&made[0])
        .iter()
        .map(|finding| (finding.code.as_str(), finding.pointer.as_str()))
        .collect();
    assert_eq!(
        codes,
        [
            ("cell-blank", "/sites/0/heads/0/1"),
            ("cell-blank", "/sites/0/heads/1/0")
        ]
    );
    let nothing = records(
        &not_examined,
        sheet_of([Cell::Empty, Cell::Empty, Cell::Empty, Cell::Empty]),
    );
    assert_eq!(findings(&nothing[0])[0].code.as_str(), "counts-missing");
}
