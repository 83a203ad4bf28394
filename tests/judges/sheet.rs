//! Count sheets, filled, saved and opened by other programs.

use std::path::{Path, PathBuf};
use std::process::Command;

use bractline::intake::count_sheet::count_sheet_records;
use bractline::intake::table::{Cell, Sheet, TableRecord};
use bractline::intake::validate::VisitSchema;
use bractline::protocol::catalogue::Protocol;
use bractline::publish::count_sheet::count_sheet_xlsx;
use bractline::visit::record::Visit;
use jiff::civil::{Date, date};
use serde_json::{Map, Value, json};
use tempfile::TempDir;

use crate::judge::python;
use crate::support::sheet::{VISITS, bsm_eggs, options, protocols, sheets};

const FILL: &str = "tests/reference/fill_sheet.py";

/// A count sheet on the disk.
struct OnDisk {
    folder: TempDir,
}

impl OnDisk {
    fn of(protocol: &Protocol) -> OnDisk {
        let folder = tempfile::tempdir().expect("a temporary folder");
        let bytes = count_sheet_xlsx(protocol, &options()).expect("a workbook");
        std::fs::write(folder.path().join("empty.xlsx"), bytes).expect("written");
        OnDisk { folder }
    }

    fn path(&self, name: &str) -> String {
        self.folder.path().join(name).display().to_string()
    }

    /// Filled by openpyxl; its tabs as the reader of workbooks gives them.
    fn filled(&self, cells: &Value) -> Vec<Sheet> {
        std::fs::write(self.path("cells.json"), cells.to_string()).expect("written");
        let (empty, cells, filled) = (
            self.path("empty.xlsx"),
            self.path("cells.json"),
            self.path("filled.xlsx"),
        );
        python(FILL, &["fill", &empty, &cells, &filled]);
        sheets(&std::fs::read(filled).expect("the filled sheet"))
    }

    fn records(&self, cells: &Value) -> Vec<TableRecord> {
        let sheets = self.filled(cells);
        count_sheet_records(&sheets, "filled.xlsx")
            .expect("a count sheet")
            .expect("with its tabs and headings")
    }

    fn described(&self) -> Value {
        let described = python(FILL, &["describe", &self.path("empty.xlsx")]);
        serde_json::from_str(&described).expect("JSON")
    }
}

/// A good row of the tab Visits.
fn visit_cells(row: usize, field: &str) -> Map<String, Value> {
    let values = json!({
        "B": {"day": "2026-07-21"}, "C": "obs-0123", "D": field, "F": -100.12345, "G": 44.12345, "H": 62.4,
        "I": "oilseed", "J": "R3", "K": 8, "L": "acre", "M": "USD", "N": 0.16, "O": "lb", "P": 20000, "Q": "acre",
    });
    let values = values.as_object().expect("an object").clone();
    values
        .into_iter()
        .map(|(column, value)| (format!("{column}{row}"), value))
        .collect()
}

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

#[track_caller]
fn accepted(record: &TableRecord) -> Visit {
    let document = record.document.as_ref().expect("a document");
    let read = VisitSchema::new().read(document.as_bytes());
    read.unwrap_or_else(|refused| panic!("{:?}", refused.findings))
        .visit
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
    visits.insert("R4".to_owned(), json!("=1+1 is what the scout wrote; hail"));
    visits.insert("S4".to_owned(), json!(2));
    visits.insert("T4".to_owned(), json!({"moment": "2026-07-22T14:30:00"}));
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
        "Visits!M2 (Currency)"
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
    visits.insert("K3".to_owned(), json!(9.5));
    visits.insert("S3".to_owned(), json!(2));
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
        .read(document.as_bytes())
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
    assert!(count_sheet_records(&without_mark, "week30.xlsx").is_none());
}

#[test]
fn the_sheet_checks_locks_and_prints_as_it_should_and_holds_no_formula() {
    for protocol in protocols() {
        let sheet = OnDisk::of(&protocol);
        let described = sheet.described();
        assert_eq!(described["created"], "2000-01-01 00:00:00");
        let tabs = described["tabs"].as_object().expect("tabs");
        assert_eq!(tabs.len(), 4);
        for (name, tab) in tabs {
            assert_eq!(tab["formulas"], json!([]), "{name}");
            assert_eq!(tab["starts_as_formula"], json!([]), "{name}");
            assert_eq!(tab["protected"], true, "{name}");
            assert_eq!(tab["password"], Value::Null, "{name}");
            let hidden = if name == "bractline" {
                "hidden"
            } else {
                "visible"
            };
            assert_eq!(tab["state"], hidden, "{name}");
        }
        assert_eq!(tabs["Instructions"]["unlocked"], json!([]));
        assert_eq!(tabs["bractline"]["unlocked"], json!([]));
        for name in ["Visits", "Counts"] {
            let tab = &tabs[name];
            assert_eq!(tab["landscape"], true);
            assert_eq!(tab["fit_to_width"], true);
            assert_eq!(tab["repeated"], "$1:$1");
            let headings = tab["headings"].as_array().expect("headings");
            assert_eq!(tab["notes"].as_u64(), Some(headings.len() as u64));
            for heading in headings {
                assert!(heading.as_str().expect("text").ends_with(')'), "{heading}");
            }
        }
        assert_eq!(tabs["Visits"]["frozen"], "E2");
        assert_eq!(tabs["Counts"]["frozen"], "A2");
        check_checks(&protocol, tabs);
        check_unlocked(&protocol, tabs);
    }
}

fn check_checks(protocol: &Protocol, tabs: &Map<String, Value>) {
    let visits = tabs["Visits"]["checks"].as_object().expect("checks");
    let last = VISITS + 1;
    let check = |column: &str| &visits[&format!("{column}2:{column}{last}")];
    // Days as a spreadsheet counts them, from 1899-12-30.
    let serial = |day: Date| (day - date(1899, 12, 30)).get_days().to_string();
    assert_eq!(check("B")["type"], "date");
    assert_eq!(check("B")["low"], json!(serial(date(2026, 6, 1))));
    assert_eq!(check("B")["high"], json!(serial(date(2026, 9, 30))));
    assert_eq!(
        (&check("F")["low"], &check("F")["high"]),
        (&json!("-180"), &json!("180"))
    );
    assert_eq!(
        (&check("G")["low"], &check("G")["high"]),
        (&json!("-90"), &json!("90"))
    );
    assert_eq!(
        check("I")["low"],
        json!(format!("\"{}\"", protocol.crop_types.join(",")))
    );
    assert_eq!(check("J")["type"], "list");
    assert!(
        check("J")["low"]
            .as_str()
            .expect("a list")
            .contains(",R5.1,")
    );
    assert_eq!(check("L")["low"], json!("\"acre,ha\""));
    assert_eq!(check("O")["low"], json!("\"lb,kg\""));
    assert_eq!(check("Q")["low"], json!("\"acre,ha\""));

    let counts = tabs["Counts"]["checks"].as_object().expect("checks");
    let last = tabs["Counts"]["rows"].as_u64().expect("rows");
    let columns: &[&str] = match &*protocol.id {
        "bsm-eggs" => &["E", "F", "G", "H", "I", "J"],
        _ => &["D"],
    };
    for column in columns {
        let check = &counts[&format!("{column}2:{column}{last}")];
        assert_eq!(check["type"], "whole", "{column}");
        assert_eq!(check["operator"], "between", "{column}");
        assert_eq!(check["low"], "0", "{column}");
        assert_eq!(check["blank_allowed"], true, "{column}");
    }
}

/// The cells for the scout, and those alone, are open.
fn check_unlocked(protocol: &Protocol, tabs: &Map<String, Value>) {
    let unlocked = |name: &str| -> Vec<String> {
        let cells = tabs[name]["unlocked"].as_array().expect("cells");
        cells
            .iter()
            .map(|cell| cell.as_str().expect("text").to_owned())
            .collect()
    };
    let visits = unlocked("Visits");
    assert_eq!(visits.len(), VISITS * 19);
    assert!(visits.contains(&"B2".to_owned()) && !visits.iter().any(|cell| cell.starts_with('A')));
    let (planned, counts, sides, columns) = match &*protocol.id {
        "bsm-eggs" => (VISITS * 4 * 5, 6, VISITS * 4, 10),
        "test-plants" => (VISITS * 2 * 12, 1, 0, 4),
        _ => (VISITS * 2, 2, 0, 5),
    };
    let spare = tabs["Counts"]["rows"].as_u64().expect("rows") as usize - 1 - planned;
    assert_eq!(
        unlocked("Counts").len(),
        planned * counts + sides + spare * columns
    );
}

#[test]
fn libreoffice_opens_and_prints_every_sheet_without_a_warning() {
    for protocol in protocols() {
        let sheet = OnDisk::of(&protocol);
        let printed = converted(&sheet, "empty.xlsx", "pdf");
        let bytes = std::fs::read(printed).expect("the PDF");
        assert!(bytes.starts_with(b"%PDF"), "{}", protocol.id);
    }
}

#[test]
fn a_sheet_saved_again_by_libreoffice_still_reads_the_same() {
    let sheet = OnDisk::of(&protocols()[2]);
    let cells = json!({
        "Visits": visit_cells(2, "F-1"),
        "Counts": {"D2": 14, "E2": 7},
    });
    let before = sheet.records(&cells);
    std::fs::create_dir(sheet.path("again")).expect("a folder");
    std::fs::rename(sheet.path("filled.xlsx"), sheet.path("again/filled.xlsx")).expect("moved");
    let saved = converted(&sheet, "again/filled.xlsx", "xlsx");
    let sheets = sheets(&std::fs::read(saved).expect("the sheet"));
    let after = count_sheet_records(&sheets, "filled.xlsx")
        .expect("still a count sheet")
        .expect("with its tabs");
    assert_eq!(accepted(&before[0]), accepted(&after[0]));
    assert_eq!(before[0].places, after[0].places);
}

/// A file as LibreOffice writes it in another format. Whatever it says beside the one line that names the
/// conversion is a warning, but for Java, which no spreadsheet needs.
fn converted(sheet: &OnDisk, name: &str, format: &str) -> PathBuf {
    let out = sheet.path("converted");
    let profile = format!("-env:UserInstallation=file://{}", sheet.path("profile"));
    let output = Command::new("soffice")
        .args([
            "--headless",
            &profile,
            "--convert-to",
            format,
            "--outdir",
            &out,
        ])
        .arg(sheet.path(name))
        .output()
        .expect("soffice starts; `bash tests/run` installs it");
    let said = [output.stdout, output.stderr].concat();
    let said = String::from_utf8_lossy(&said).into_owned();
    let warnings: Vec<&str> = said
        .lines()
        .filter(|line| {
            !line.is_empty() && !line.starts_with("convert ") && !line.contains("javaldx")
        })
        .collect();
    assert!(output.status.success() && warnings.is_empty(), "{said}");
    let stem = Path::new(name).file_stem().expect("a stem").to_owned();
    Path::new(&out).join(stem).with_extension(format)
}
