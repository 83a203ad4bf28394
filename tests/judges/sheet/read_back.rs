//! Sheets that openpyxl filled as a scout would, read back.

use intake::count_sheet::reading::count_sheet_records;
use intake::judge::validate::VisitSchema;
use intake::sheet::table::{Cell, Sheet, TableRecord};
use scouting::visit::record::Visit;
use serde_json::{Value, json};

use super::{OnDisk, accepted, visit_cells};
use crate::support::sheet::{bsm_eggs, protocols};

fn expected_visit(field: &str) -> Value {
    json!({
        "schema_version": "1.0", "revision": 1, "observed_on": "2026-07-21",
        "submitted_at": "2026-07-21T23:59:59Z", "observer_id": "obs-0123",
        "field": {"field_id": field, "lon": -100.12345, "lat": 44.12345, "area_ha": 62.4, "crop_type": "oilseed"},
        "crop_stage": "R3",
        "economics": {
            "treatment_cost": {"amount": 8.0, "per": "acre", "currency": "USD"},
            "market_value": {"amount": 0.16, "per": "lb", "currency": "USD"},
            "plant_population": {"count": 20000.0, "per": "acre"}},
    })
}

/// Whether the record gives this visit, whose identity the sheet makes.
#[track_caller]
fn expect_visit(record: &TableRecord, expected: Value) {
    let visit = accepted(record);
    let mut expected = expected;
    expected["visit_id"] = json!(visit.visit_id);
    let expected: Visit = serde_json::from_value(expected).expect("a visit");
    assert_eq!(visit, expected);
}

/// `code place: what was found` of each finding.
#[track_caller]
fn findings(record: &TableRecord) -> Vec<String> {
    let findings = record.document.as_ref().expect_err("findings");
    findings
        .iter()
        .map(|finding| format!("{} {}", finding.code, finding.found))
        .collect()
}

#[test]
fn heads_come_back_as_the_scout_wrote_them() {
    let sheet = OnDisk::of(&bsm_eggs());
    let mut visits = visit_cells(2, "F-000123");
    visits.extend(visit_cells(4, "F-000124"));
    visits.insert("E4".to_owned(), json!("farm-7"));
    visits.insert("U4".to_owned(), json!("=1+1 is what the scout wrote; hail"));
    visits.insert("V4".to_owned(), json!(2));
    visits.insert("W4".to_owned(), json!({"moment": "2026-07-22T14:30:00"}));
    // Visit 1: rows 2 to 21, five heads a site. Visit 3: rows 42 to 61. Columns E to J are the bracts.
    let records = sheet.records(&json!({
        "Visits": visits,
        "Counts": {
            "C2": "north",
            "E2": 0, "F2": 1, "G2": 0, "H2": 2, "I2": 0, "J2": 0,
            "E4": 0, "F4": 0, "G4": 0, "H4": 0, "I4": 1, "J4": 0,
            "E12": 3, "F12": 0, "G12": 0, "H12": 0, "I12": 0, "J12": 0,
            "E42": 0, "F42": 0, "G42": 0, "H42": 0, "I42": 0, "J42": 0,
            // A spare row at the end: a fifth site of visit 3.
            "A62": 3, "B62": 5, "C62": "west", "D62": 1,
            "E62": 9, "F62": 8, "G62": 7, "H62": 6, "I62": 5, "J62": 4,
        },
    }));
    assert_eq!(records.len(), 2);
    let mut first = expected_visit("F-000123");
    first["protocol"] = json!("bsm-eggs");
    first["sites"] = json!([
        {"site": 1, "side": "north", "heads": [[0, 1, 0, 2, 0, 0], [0, 0, 0, 0, 1, 0]]},
        {"site": 3, "heads": [[3, 0, 0, 0, 0, 0]]},
    ]);
    expect_visit(&records[0], first);
    let mut second = expected_visit("F-000124");
    second["protocol"] = json!("bsm-eggs");
    second["field"]["farm_id"] = json!("farm-7");
    second["remarks"] = json!("=1+1 is what the scout wrote; hail");
    second["revision"] = json!(2);
    second["submitted_at"] = json!("2026-07-22T14:30:00Z");
    second["sites"] = json!([
        {"site": 1, "heads": [[0, 0, 0, 0, 0, 0]]},
        {"site": 5, "side": "west", "heads": [[9, 8, 7, 6, 5, 4]]},
    ]);
    expect_visit(&records[1], second);

    assert_eq!((records[0].line, records[1].line), (2, 4));
    let places = &records[0].places;
    assert_eq!(places[""], "Visits!A2 (Visit)");
    assert_eq!(places["/observed_on"], "Visits!B2 (Day)");
    assert_eq!(
        places["/economics/market_value/currency"],
        "Visits!P2 (Currency)"
    );
    assert_eq!(places["/sites/1"], "Counts!B12 (Site)");
    assert_eq!(places["/sites/0/side"], "Counts!C2 (Side)");
    assert_eq!(places["/sites/0/heads/1"], "Counts!D4 (Head)");
    assert_eq!(places["/sites/0/heads/1/4"], "Counts!I4 (Bract 5)");
    let sent: Value = serde_json::from_str(&records[0].as_sent).expect("JSON");
    assert_eq!(sent["sheet"], "Visits");
    assert_eq!(sent["rows"][0]["row"], 2);
    assert_eq!(sent["rows"][0]["cells"][1], "2026-07-21");
    assert_eq!(sent["more"][0]["sheet"], "Counts");
    assert_eq!(sent["more"][0]["rows"][1]["row"], 4);
}

#[test]
fn plants_come_back_as_the_scout_wrote_them() {
    let sheet = OnDisk::of(&protocols()[1]);
    // Twelve plants a site, no side: D is the count. Site 2 begins in row 14.
    let records = sheet.records(&json!({
        "Visits": visit_cells(2, "F-1"),
        "Counts": {"D2": 3, "D3": 0, "D5": 1, "D14": 0},
    }));
    let mut expected = expected_visit("F-1");
    expected["protocol"] = json!("test-plants");
    expected["sites"] = json!([{"site": 1, "plants": [3, 0, 1]}, {"site": 2, "plants": [0]}]);
    assert_eq!(records.len(), 1);
    expect_visit(&records[0], expected);
    assert_eq!(records[0].places["/sites/0/plants/2"], "Counts!D5 (Count)");
}

#[test]
fn traps_come_back_as_the_scout_wrote_them() {
    let sheet = OnDisk::of(&protocols()[2]);
    let records = sheet.records(&json!({
        "Visits": visit_cells(3, "F-1"),
        "Counts": {"D4": 14, "E4": 7, "D5": 0, "E5": 6},
    }));
    let mut expected = expected_visit("F-1");
    expected["protocol"] = json!("test-traps");
    let traps = json!([{"catch": 14, "nights": 7}, {"catch": 0, "nights": 6}]);
    expected["sites"] = json!([{"site": 1, "traps": traps}]);
    assert_eq!(records.len(), 1);
    expect_visit(&records[0], expected);
    assert_eq!(
        records[0].places["/sites/0/traps/1/nights"],
        "Counts!E5 (Nights)"
    );

    // Half a trap is none.
    let records = sheet.records(&json!({
        "Visits": visit_cells(3, "F-1"),
        "Counts": {"D4": 14, "E5": 6},
    }));
    assert_eq!(
        findings(&records[0]),
        [
            "unit-half-filled Counts!E4 (Nights): nothing",
            "unit-half-filled Counts!D5 (Catch): nothing",
        ]
    );
}

#[test]
fn an_empty_sheet_gives_no_record_and_the_same_visit_has_the_same_identity_in_every_file() {
    let sheet = OnDisk::of(&protocols()[1]);
    assert_eq!(sheet.records(&json!({})), []);
    let first = sheet.records(&json!({
        "Visits": visit_cells(2, "F-1"), "Counts": {"D2": 3},
    }));
    // Another sheet, another row, other economics and counts, a higher revision.
    let mut visits = visit_cells(3, "F-1");
    visits.insert("N3".to_owned(), json!(9.5));
    visits.insert("V3".to_owned(), json!(2));
    let again = sheet.records(&json!({"Visits": visits, "Counts": {"D26": 4}}));
    let (first, again) = (accepted(&first[0]), accepted(&again[0]));
    assert_eq!(first.visit_id, again.visit_id);
    assert_eq!((first.revision, again.revision), (1, 2));
    let other = sheet.records(&json!({
        "Visits": visit_cells(2, "F-2"), "Counts": {"D2": 3},
    }));
    assert_ne!(accepted(&other[0]).visit_id, first.visit_id);
}

#[test]
fn what_is_wrong_names_its_cell_and_no_row_is_dropped() {
    let sheet = OnDisk::of(&bsm_eggs());
    let mut visits = visit_cells(2, "F-1");
    visits.insert("B2".to_owned(), json!("6/7/2026"));
    visits.insert("H2".to_owned(), json!("about 60"));
    visits.remove("C2");
    visits.extend(visit_cells(3, "F-2"));
    // Visit 2 has no counts; visit 3 has counts and no row.
    let records = sheet.records(&json!({
        "Visits": visits,
        "Counts": {
            "C2": "north", "C3": {"force": "south"},
            "E2": 0, "F2": "none", "G2": 0, "I2": 0, "J2": 0,
            "E3": 0, "F3": 0, "G3": 0, "H3": 0, "I3": 0, "J3": 0, "D3": {"force": 1},
            // A side alone.
            "C7": "east",
            "E42": 1, "F42": 1, "G42": 1, "H42": 1, "I42": 1, "J42": 1,
            // A spare row without its visit, one without its head, and one past the columns.
            "E62": 2, "F62": 2, "G62": 2, "H62": 2, "I62": 2, "J62": 2,
            "A63": 1, "B63": 9, "E63": 2, "F63": 2, "G63": 2, "H63": 2, "I63": 2, "J63": 2,
            "A64": 1, "L64": {"force": "many!"},
        },
        "Sheet2": {"B3": "a note", "C3": 7},
    }));
    let found: Vec<Vec<String>> = records.iter().map(findings).collect();
    assert_eq!(
        found[0],
        [
            "day-unreadable Visits!B2 (Day): \"6/7/2026\"",
            "cell-empty Visits!C2 (Scout): nothing",
            "text-for-number Visits!H2 (Area): \"about 60\"",
            "unit-row-missing Counts, rows 2 to 64: visit 1 has no row for head 2 of site 1",
            "column-unknown Counts!L64: \"many!\"",
            "site-number-missing Counts!B64 (Site): nothing",
            "side-differs Counts!C3 (Side): \"south\"",
            "unit-repeated Counts!D3 (Head): 1",
            "text-for-number Counts!F2 (Bract 2): \"none\"",
            "unit-half-filled Counts!H2 (Bract 4): nothing",
            "site-without-counts Counts!B7 (Site): 2",
            "unit-number-missing Counts!D63 (Head): nothing",
            "site-without-counts Counts!B63 (Site): 9",
        ]
    );
    assert_eq!(found[1], ["visit-without-counts Visits!A3 (Visit): 2"]);
    let mut rest = found[2..].to_vec();
    rest.sort();
    assert_eq!(
        rest,
        [
            vec!["counts-without-visit Counts!A42 (Visit): 3".to_owned(),],
            vec![
                "counts-without-visit Counts!A62 (Visit): nothing".to_owned(),
                "site-number-missing Counts!B62 (Site): nothing".to_owned(),
            ],
            vec!["tab-unknown Sheet2, row 3: entries in 2 cells from here on".to_owned()],
        ]
    );
    // Each row that was written in is in exactly one record as sent.
    let mut rows: Vec<(String, u64)> = records
        .iter()
        .flat_map(|record| rows_sent(&record.as_sent))
        .collect();
    rows.sort();
    let counts = [2, 3, 7, 42, 62, 63, 64].map(|row| ("Counts".to_owned(), row));
    let mut written = counts.to_vec();
    written.push(("Sheet2".to_owned(), 3));
    written.extend([2, 3].map(|row| ("Visits".to_owned(), row)));
    assert_eq!(rows, written);
}

fn rows_sent(as_sent: &str) -> Vec<(String, u64)> {
    let sent: Value = serde_json::from_str(as_sent).expect("JSON");
    let more = sent["more"].as_array().cloned().unwrap_or_default();
    std::iter::once(sent)
        .chain(more)
        .flat_map(|part| {
            let name = part["sheet"].as_str().expect("a name").to_owned();
            let rows = part["rows"].as_array().expect("rows").clone();
            rows.into_iter()
                .map(move |row| (name.clone(), row["row"].as_u64().expect("a number")))
        })
        .collect()
}

#[test]
fn a_number_of_a_visit_that_stands_twice_belongs_to_neither() {
    let sheet = OnDisk::of(&protocols()[1]);
    let mut visits = visit_cells(2, "F-1");
    visits.extend(visit_cells(3, "F-2"));
    visits.insert("A3".to_owned(), json!({"force": 1}));
    visits.extend(visit_cells(4, "F-3"));
    visits.insert("A4".to_owned(), json!({"force": "x"}));
    let records = sheet.records(&json!({"Visits": visits, "Counts": {"D2": 3}}));
    let found: Vec<Vec<String>> = records.iter().map(findings).collect();
    assert_eq!(
        found,
        [
            ["visit-number-repeated Visits!A2 (Visit): 1"],
            ["visit-number-repeated Visits!A3 (Visit): 1"],
            ["visit-number-missing Visits!A4 (Visit): \"x\""],
        ]
    );
}

#[test]
fn values_of_the_right_kind_that_are_wrong_are_left_to_the_schema_with_their_cells() {
    let sheet = OnDisk::of(&protocols()[1]);
    let records = sheet.records(&json!({
        "Visits": visit_cells(2, "F-1"),
        "Counts": {"D2": -3, "D3": 1.5},
    }));
    let document = records[0].document.as_ref().expect("a document");
    let refused = VisitSchema::new()
        .read_value(document)
        .expect_err("two counts are wrong");
    let mut places: Vec<&str> = refused
        .findings
        .iter()
        .map(|finding| &*records[0].places[&finding.pointer])
        .collect();
    places.sort_unstable();
    assert_eq!(places, ["Counts!D2 (Count)", "Counts!D3 (Count)"]);
}

#[test]
fn a_sheet_without_a_tab_or_a_heading_is_refused_with_its_name() {
    let sheet = OnDisk::of(&bsm_eggs());
    let whole = sheet.filled(&json!({}));
    let mut without_tab = whole.clone();
    without_tab.retain(|tab| tab.name != "Counts");
    let mut without_heading = whole.clone();
    let visits = without_heading.iter_mut().find(|tab| tab.name == "Visits");
    visits.expect("the tab").rows[0].cells[7] = Cell::Text("Acres".to_owned());
    let mut without_mark = whole;
    without_mark.retain(|tab| tab.name != "bractline");
    let failure = |sheets: &[Sheet]| {
        let read = count_sheet_records(sheets, "week30.xlsx").expect("a count sheet");
        read.expect_err("refused").to_string()
    };
    let (tab, heading) = (failure(&without_tab), failure(&without_heading));
    assert!(
        tab.contains("week30.xlsx") && tab.contains("\"Counts\""),
        "{tab}"
    );
    assert!(
        heading.contains("\"Area\" is missing") && heading.contains("tab Visits"),
        "{heading}"
    );
    // The other tabs say what it said; without the line of the protocol it is refused with the reason.
    let read = count_sheet_records(&without_mark, "week30.xlsx").expect("a count sheet");
    assert_eq!(read.expect("an empty one"), []);
    without_mark.retain(|tab| tab.name != "Instructions");
    let mark = failure(&without_mark);
    assert!(mark.contains("has lost its hidden tab"), "{mark}");
}
