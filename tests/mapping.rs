//! Mapping files and the plain layout: three worked mappings give the same visits, each kind of cell
//! gives its value or its finding, wrong mappings and sheets are refused with place and remedy, the
//! published schema takes what the program takes, and a visit survives the plain layout.
//! Not here: reading files into sheets.

use bractline::failure::Failure;
use bractline::intake::mapping::{
    MAPPING_SCHEMA, Mapping, plain_header, plain_records, plain_rows, suggest,
};
use bractline::intake::table::{Cell, Row, Sheet, TableRecord};
use bractline::visit::finding::Finding;
use bractline::visit::heads::Heads;
use bractline::visit::record::{
    AreaUnit, Count, Economics, Field, MarketValue, Outline, PlantPopulation, Site, Trap,
    TreatmentCost, Visit, WeightUnit,
};
use jiff::civil::date;
use proptest::prelude::*;
use serde_json::{Value, json};

use crate::support::mapping::{BASE, FOLDER, mapping_cases};

fn text(text: &str) -> Cell {
    Cell::Text(text.to_owned())
}

fn base_header() -> Vec<Cell> {
    ["Id", "Field", "Date", "Lon", "Lat", "Area", "Price", "Eggs"]
        .map(text)
        .to_vec()
}

fn base_row() -> Vec<Cell> {
    [
        "v-1",
        "F-9001",
        "2026-07-21",
        "-100.5",
        "45.25",
        "62.5",
        "0.16",
        "3",
    ]
    .map(text)
    .to_vec()
}

fn sheet(name: &str, rows: Vec<Vec<Cell>>) -> Sheet {
    let numbered = rows.into_iter().zip(1..);
    Sheet {
        name: name.to_owned(),
        rows: numbered
            .map(|(cells, number)| Row { number, cells })
            .collect(),
    }
}

fn base_sheet(bend: impl FnOnce(&mut Vec<Vec<Cell>>)) -> Sheet {
    let mut rows = vec![base_header(), base_row()];
    bend(&mut rows);
    sheet("Visits", rows)
}

fn mapping(text: &str) -> Mapping {
    Mapping::read(text, "a.toml").unwrap_or_else(|failure| panic!("{failure}\n{text}"))
}

fn records(mapping_text: &str, sheet: Sheet) -> Vec<TableRecord> {
    mapping(mapping_text)
        .records(&[sheet], "a.xlsx")
        .unwrap_or_else(|failure| panic!("{failure}"))
}

fn document(record: &TableRecord) -> Value {
    let document = record
        .document
        .as_ref()
        .unwrap_or_else(|findings| panic!("{findings:#?}"));
    serde_json::from_str(document).expect("a document is JSON")
}

fn findings(record: &TableRecord) -> &[Finding] {
    record
        .document
        .as_ref()
        .expect_err("the record has findings")
}

/// A text file as a table, for tests alone.
fn csv_sheet(name: &str, delimiter: u8) -> Sheet {
    let content = std::fs::read_to_string(format!("{FOLDER}/{name}")).expect("a sample");
    // The samples have no line break within a cell, so that a line is a row.
    let rows = content
        .lines()
        .zip(1..)
        .map(|(line, number)| {
            let mut reader = csv::ReaderBuilder::new()
                .has_headers(false)
                .delimiter(delimiter)
                .from_reader(line.as_bytes());
            let record = reader
                .records()
                .next()
                .transpose()
                .expect("a sample is CSV")
                .unwrap_or_default();
            let cells = record.iter().map(|cell| {
                if cell.is_empty() {
                    Cell::Empty
                } else {
                    text(cell)
                }
            });
            Row {
                number,
                cells: cells.collect(),
            }
        })
        .collect();
    Sheet {
        name: String::new(),
        rows,
    }
}

fn worked(name: &str, delimiter: u8) -> Vec<Value> {
    let mapping_text = std::fs::read_to_string(format!("{FOLDER}/{name}.toml")).expect("a mapping");
    let mapping = Mapping::read(&mapping_text, name).unwrap_or_else(|failure| panic!("{failure}"));
    let sheet = csv_sheet(&format!("{name}.csv"), delimiter);
    let records = mapping
        .records(&[sheet], name)
        .unwrap_or_else(|failure| panic!("{failure}"));
    records.iter().map(document).collect()
}

#[test]
fn the_three_worked_mappings_give_the_same_visits() {
    let wide = worked("wide", b',');
    assert_eq!(wide.len(), 3);
    let visit: Visit = serde_json::from_value(wide[0].clone()).expect("a visit");
    assert!(visit.conforms());
    // By hand, from the first row of wide.csv.
    let expected = json!({
        "schema_version": "1.0", "visit_id": "invented:F-9001:2026-07-20:obs-9001", "revision": 1,
        "observed_on": "2026-07-20", "submitted_at": "2026-07-23T12:00:00Z", "observer_id": "obs-9001",
        "field": {"field_id": "F-9001", "lon": -100.125, "lat": 45.25, "area_ha": 40.468564224,
            "crop_type": "oilseed"},
        "protocol": "bsm-eggs", "crop_stage": "R3",
        "economics": {
            "treatment_cost": {"amount": 8.0, "per": "acre", "currency": "USD"},
            "market_value": {"amount": 0.16, "per": "lb", "currency": "USD"},
            "plant_population": {"count": 20000.0, "per": "acre"}},
        "sites": [
            {"site": 1, "side": "N", "heads": [[0, 0, 0, 0, 0, 0], [1, 2, 0, 0, 0, 0]]},
            {"site": 2, "side": "E", "heads": [[1, 0, 0, 0, 0, 2], [1, 0, 0, 1, 1, 2]]}],
        "remarks": "invented: hail on the north side"
    });
    assert_eq!(wide[0], expected);
    assert_eq!(worked("long", b';'), wide);
    assert_eq!(worked("blocks", b','), wide);
}

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
                assert_eq!(finding.code, code, "{cell:?}: {finding}");
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

/// The base mapping with lines added to one of its fields.
fn with(field: &str, lines: &str) -> String {
    let marker = format!("name = \"{field}\"\n");
    assert!(BASE.contains(&marker));
    BASE.replace(&marker, &format!("{marker}{lines}\n"))
}

/// Mapping, column, cell, member, and its value or the code of the finding.
type MeaningCase = (
    String,
    usize,
    Cell,
    &'static str,
    Result<Value, &'static str>,
);

#[test]
fn the_mapping_says_what_a_cell_means() {
    let eggs = "/sites/0/heads/0/0";
    let without_unit = BASE.replace("unit = \"ha\"\n", "");
    let area_from_cell = without_unit.replace(
        "name = \"Area\"\n",
        "name = \"Area\"\nunitFrom = \"cell\"\n",
    );
    let cases: Vec<MeaningCase> = vec![
        (
            with("Eggs", "missingValues = [\"-\"]\ndefault = 0"),
            7,
            text("-"),
            eggs,
            Ok(json!(0)),
        ),
        (
            with("Eggs", "values = { trace = 1 }"),
            7,
            text("Trace"),
            eggs,
            Ok(json!(1)),
        ),
        (
            with("Eggs", "bareNumber = false"),
            7,
            text("12 (est)"),
            eggs,
            Ok(json!(12)),
        ),
        (
            with("Eggs", "bareNumber = false"),
            7,
            text("<5"),
            eggs,
            Err("number-not-exact"),
        ),
        (
            with("Eggs", "bareNumber = false"),
            7,
            text("5-10"),
            eggs,
            Err("number-is-a-range"),
        ),
        (
            with("Eggs", "groupChar = ','"),
            7,
            text("1,234"),
            eggs,
            Ok(json!(1234)),
        ),
        (
            with("Area", "fractions = true"),
            5,
            text("1 1/2"),
            "/field/area_ha",
            Ok(json!(1.5)),
        ),
        (
            with("Area", "decimalChar = ','"),
            5,
            text("1,5"),
            "/field/area_ha",
            Ok(json!(1.5)),
        ),
        (
            area_from_cell.clone(),
            5,
            text("100 ac"),
            "/field/area_ha",
            Ok(json!(40.468564224)),
        ),
        (
            area_from_cell.clone(),
            5,
            text("62.5 hectares"),
            "/field/area_ha",
            Ok(json!(62.5)),
        ),
        (
            area_from_cell.clone(),
            5,
            text("62.5"),
            "/field/area_ha",
            Err("unit-missing"),
        ),
        (
            area_from_cell.clone(),
            5,
            text("62.5 miles"),
            "/field/area_ha",
            Err("number-with-text"),
        ),
        (
            with("Area", "bareNumber = false"),
            5,
            text("62.5 ac"),
            "/field/area_ha",
            Err("unit-differs"),
        ),
        (
            with("Area", "bareNumber = false"),
            5,
            text("62.5 ha"),
            "/field/area_ha",
            Ok(json!(62.5)),
        ),
        (
            with("Date", "format = \"%m/%d/%Y\""),
            2,
            text("6/7/2026"),
            "/observed_on",
            Ok(json!("2026-06-07")),
        ),
        (
            with("Date", "format = \"%d/%m/%Y\""),
            2,
            text("6/7/2026"),
            "/observed_on",
            Ok(json!("2026-07-06")),
        ),
        (
            with("Date", "format = [\"%m/%d/%Y\", \"%d/%m/%Y\"]"),
            2,
            text("6/7/2026"),
            "/observed_on",
            Err("date-ambiguous"),
        ),
        (
            with("Date", "format = [\"%m/%d/%Y\", \"%d/%m/%Y\"]"),
            2,
            text("21/7/2026"),
            "/observed_on",
            Ok(json!("2026-07-21")),
        ),
        (
            with("Date", "dateSystem = 1900"),
            2,
            Cell::Number(46_224.0),
            "/observed_on",
            Ok(json!("2026-07-21")),
        ),
        (
            with("Date", "dateSystem = 1904"),
            2,
            text("44762"),
            "/observed_on",
            Ok(json!("2026-07-21")),
        ),
        (
            with("Field", "zeroPad = 5"),
            1,
            Cell::Number(46.0),
            "/field/field_id",
            Ok(json!("00046")),
        ),
        (
            with("Field", "values = { a = \"F-1\" }"),
            1,
            text("A"),
            "/field/field_id",
            Ok(json!("F-1")),
        ),
        (
            with("Field", "values = { a = \"F-1\" }"),
            1,
            text("F-1"),
            "/field/field_id",
            Ok(json!("F-1")),
        ),
        (
            with("Field", "values = { a = \"F-1\" }"),
            1,
            text("b"),
            "/field/field_id",
            Err("code-unknown"),
        ),
        (
            with("Field", "part = '^no[.] (?<value>[0-9]+)$'"),
            1,
            text("no. 12"),
            "/field/field_id",
            Ok(json!("12")),
        ),
        (
            with("Field", "part = '^no[.] (?<value>[0-9]+)$'"),
            1,
            text("12"),
            "/field/field_id",
            Err("part-missing"),
        ),
        (
            with("Field", "default = \"F-0\""),
            1,
            Cell::Empty,
            "/field/field_id",
            Ok(json!("F-0")),
        ),
    ];
    for (mapping_text, column, cell, pointer, wanted) in cases {
        let sheet = base_sheet(|rows| rows[1][column] = cell.clone());
        let record = &records(&mapping_text, sheet)[0];
        match wanted {
            Ok(value) => assert_eq!(document(record).pointer(pointer), Some(&value), "{cell:?}"),
            Err(code) => assert_eq!(findings(record)[0].code, code, "{cell:?}"),
        }
    }
}

#[test]
fn a_row_that_says_nothing_or_repeats_the_header_is_no_record() {
    let sheet = base_sheet(|rows| {
        rows.push(vec![Cell::Empty, text(" ")]);
        rows.push(base_header());
        rows.push(base_row());
        rows.push(vec![text("Total"), Cell::Empty, Cell::Number(6.0)]);
    });
    let skip = "[[skip]]\nname = \"Id\"\nmatches = \"(?i)^total\"\n";
    let lines: Vec<u64> = records(&format!("{BASE}\n{skip}"), sheet.clone())
        .iter()
        .map(|record| record.line)
        .collect();
    assert_eq!(lines, [2, 5]);
    let lines: Vec<u64> = records(BASE, sheet)
        .iter()
        .map(|record| record.line)
        .collect();
    assert_eq!(
        lines,
        [2, 5, 6],
        "a total that the mapping does not name is held, not lost"
    );
}

#[test]
fn merged_headers_are_joined_and_fill_to_the_right() {
    let mut upper = vec![Cell::Empty; 7];
    upper.extend([text("Bud 1"), Cell::Empty, text("Bud 2"), Cell::Empty]);
    let mut lower = base_header();
    lower.truncate(7);
    lower.extend(["a", "b", "a", "b"].map(text));
    let mut row = base_row();
    row.truncate(7);
    row.extend([1.0, 2.0, 3.0, 4.0].map(Cell::Number));
    let sheet = sheet("Visits", vec![vec![text("Invented")], upper, lower, row]);
    let mapping_text = BASE
        .replace("[rows]", "[dialect]\nheaderRows = [2, 3]\nheaderJoin = \" / \"\n\n[rows]")
        .replace("name = \"Eggs\"\nto = \"/sites/{site}/heads/{head}/{bract}\"",
            "namePattern = '^Bud (?<head>[0-9]+) / a$'\nto = \"/sites/{site}/heads/{head}/1\"\n\n\
             [[field]]\nnamePattern = '^Bud (?<head>[0-9]+) / b$'\nto = \"/sites/{site}/heads/{head}/2\"");
    let record = &records(&mapping_text, sheet)[0];
    assert_eq!(
        document(record)["sites"],
        json!([{"site": 1, "heads": [[1, 2], [3, 4]]}])
    );
    assert_eq!(record.places["/sites/0/heads/1/0"], "Visits!J4 (Bud 2 / a)");
}

#[test]
fn a_merged_header_ends_where_one_above_it_begins() {
    let cells = |texts: [&str; 4]| texts.map(text);
    let mut lines = [vec![Cell::Empty; 7], vec![Cell::Empty; 7], base_header()];
    lines[2].truncate(7);
    lines[0].extend(cells(["Site 1", "", "Site 2", ""]));
    lines[1].extend(cells(["", "Bud 1", "", "Bud 1"]));
    lines[2].extend(cells(["Side", "a", "Side", "a"]));
    let mut row = base_row();
    row.truncate(7);
    row.extend([text("N"), Cell::Number(1.0), text("E"), Cell::Number(2.0)]);
    let mapping_text = BASE
        .replace("[rows]", "[dialect]\nheaderRows = [1, 2, 3]\nheaderJoin = \" / \"\n\n[rows]")
        .replace("name = \"Eggs\"\nto = \"/sites/{site}/heads/{head}/{bract}\"",
            "namePattern = '^Site (?<site>[0-9]) / Bud (?<head>[0-9]) / a$'\nto = \"/sites/{site}/heads/{head}/1\"\n\n\
             [[field]]\nnamePattern = '^Site (?<site>[0-9]) / Side$'\nto = \"/sites/{site}/side\"");
    let [top, middle, last] = lines;
    let record = &records(&mapping_text, sheet("Visits", vec![top, middle, last, row]))[0];
    assert_eq!(
        document(record)["sites"],
        json!([{"site": 1, "side": "N", "heads": [[1]]}, {"site": 2, "side": "E", "heads": [[2]]}])
    );
}

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
    assert_eq!(finding.code, "key-blank");
    assert!(finding.found.starts_with("Visits, row 3"), "{finding}");
    assert!(finding.expected.contains("continues"), "{finding}");
    assert!(
        findings(&made[1])
            .iter()
            .any(|finding| finding.code == "key-blank")
    );
    assert!(
        findings(&made[2])
            .iter()
            .any(|finding| finding.code == "ditto-unexplained")
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
fn ids_that_may_have_lost_their_zeros_are_held() {
    let ids = |ids: &[Cell], lines: &str| -> Vec<Result<String, String>> {
        let mapping_text = BASE.replace(
            "to = \"/field/field_id\"",
            &format!("to = \"/field/field_id\"\n{lines}"),
        );
        let sheet = base_sheet(|rows| {
            rows.truncate(1);
            for (place, id) in ids.iter().enumerate() {
                let mut row = base_row();
                row[0] = text(&format!("v-{place}"));
                row[1] = id.clone();
                rows.push(row);
            }
        });
        let made = records(&mapping_text, sheet);
        made.iter()
            .map(|record| match &record.document {
                Ok(_) => Ok(document(record)["field"]["field_id"].to_string()),
                Err(findings) => Err(format!("{}: {}", findings[0].code, findings[0].expected)),
            })
            .collect()
    };
    let number = Cell::Number;
    let mixed = [text("00417"), number(418.0), number(12_345.0), text("F-7")];
    let read = ids(&mixed, "");
    assert_eq!(read[0], Ok("\"00417\"".to_owned()));
    let fault = read[1].clone().unwrap_err();
    assert!(fault.starts_with("id-lost-zeros"), "{fault}");
    assert!(fault.contains("418 may have been 00418"), "{fault}");
    assert!(fault.contains("zeroPad = 5"), "{fault}");
    assert!(read[2].is_ok() && read[3].is_ok(), "{read:?}");
    assert_eq!(ids(&mixed, "zeroPad = 5")[1], Ok("\"00418\"".to_owned()));
    assert_eq!(ids(&mixed, "zeroPad = 1")[1], Ok("\"418\"".to_owned()));
    assert!(
        ids(&[number(7.0), number(418.0)], "")
            .iter()
            .all(Result::is_ok)
    );

    // A county of the United States has five digits.
    let county = BASE.to_owned() + "\n[[field]]\nname = \"County\"\nto = \"/field/county_id\"\n";
    let with_county = |cell: &Cell| {
        base_sheet(|rows| {
            rows[0].push(text("County"));
            rows[1].push(cell.clone());
        })
    };
    for (cell, held) in [
        (number(1001.0), true),
        (text("1001"), true),
        (text("01001"), false),
        (number(46_001.0), false),
        (text("X-1"), false),
    ] {
        let record = &records(&county, with_county(&cell))[0];
        assert_eq!(record.document.is_err(), held, "{cell:?}: {record:?}");
    }
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
        assert_eq!(findings(&made[0])[0].code, code);
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
        findings(&records(&wide, blank_head())[0])[0].code,
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
    assert_eq!(findings(&nothing[0])[0].code, "counts-missing");
}

#[test]
fn a_sheet_a_field_says_the_field_by_its_name() {
    let mapping_text = BASE.replace(
        "[rows]",
        "[dialect]\nsheetPattern = '^Field (?<Field>.+)$'\nignoreSheets = [\"Lists\"]\n\n[rows]",
    );
    let one = |name: &str| {
        let mut rows = vec![base_header(), base_row()];
        rows.iter_mut().for_each(|row| {
            row.remove(1);
        });
        sheet(name, rows)
    };
    let lists = sheet("Lists", vec![vec![text("R2")]]);
    let made = mapping(&mapping_text)
        .records(&[one("Field F-1"), lists, one("Field F-2")], "a.xlsx")
        .unwrap_or_else(|failure| panic!("{failure}"));
    let fields: Vec<Value> = made
        .iter()
        .map(|record| document(record)["field"]["field_id"].clone())
        .collect();
    assert_eq!(fields, ["F-1", "F-2"]);
    assert_eq!(
        made[0].places["/field/field_id"],
        "the name of the sheet \"Field F-1\""
    );
}

#[test]
fn a_cell_above_the_table_may_hold_for_all_rows() {
    let mapping_text = BASE
        .replace("[rows]", "[dialect]\nheaderRows = [3]\n\n[rows]")
        .replace("name = \"Date\"\n", "cell = \"B1\"\n");
    let mut rows = vec![
        vec![text("Date of visit"), Cell::Date(date(2026, 7, 21))],
        Vec::new(),
        base_header(),
        base_row(),
    ];
    rows[2].remove(2);
    rows[3].remove(2);
    let made = records(&mapping_text, sheet("Visits", rows));
    assert_eq!(document(&made[0])["observed_on"], "2026-07-21");
    assert_eq!(made[0].places["/observed_on"], "Visits!B1");
}

#[test]
fn times_plants_and_traps_are_mapped_too() {
    let traps = BASE
        .replace(
            "\"/submitted_at\" = \"2026-07-23T12:00:00Z\"\n",
            "\"/sites/{site}/traps/{trap}/nights\" = 7\n",
        )
        .replace("heads/{head}/{bract}", "traps/{trap}/catch")
        + "\n[[field]]\nname = \"Entered\"\nto = \"/submitted_at\"\nutcOffset = \"-05:00\"\ntimeOfDay = \"18:00\"\n";
    let sheet = |entered: Cell| {
        base_sheet(|rows| {
            rows[0].push(text("Entered"));
            rows[1].push(entered);
        })
    };
    let moment = date(2026, 7, 22).at(7, 30, 0, 0);
    for (cell, wanted) in [
        (Cell::Moment(moment), "2026-07-22T07:30:00-05:00"),
        (Cell::Date(moment.date()), "2026-07-22T18:00:00-05:00"),
        (text("2026-07-22T07:30:00Z"), "2026-07-22T07:30:00Z"),
    ] {
        let made = records(&traps, sheet(cell));
        assert_eq!(document(&made[0])["submitted_at"], wanted);
        assert_eq!(
            document(&made[0])["sites"],
            json!([{"site": 1, "traps": [{"catch": 3, "nights": 7}]}])
        );
    }
    let plants = BASE.replace("heads/{head}/{bract}", "plants/{plant}");
    assert_eq!(
        document(&records(&plants, base_sheet(|_| {}))[0])["sites"],
        json!([{"site": 1, "plants": [3]}])
    );
}

#[test]
fn the_time_of_submission_may_come_with_the_command() {
    let bare = BASE.replace("\"/submitted_at\" = \"2026-07-23T12:00:00Z\"\n", "");
    let sheet = || [base_sheet(|_| {})];
    let failure = mapping(&bare)
        .records(&sheet(), "a.xlsx")
        .expect_err("no time");
    assert!(failure.to_string().contains("mend:"), "{failure}");
    let timed = mapping(&bare)
        .with_submitted_at("2026-08-01T00:00:00Z")
        .expect("a time");
    let made = timed.records(&sheet(), "a.xlsx").expect("records");
    assert_eq!(document(&made[0])["submitted_at"], "2026-08-01T00:00:00Z");
    assert!(mapping(&bare).with_submitted_at("yesterday").is_err());
    let stated = mapping(BASE)
        .with_submitted_at("2026-08-01T00:00:00Z")
        .expect("a time");
    let made = stated.records(&sheet(), "a.xlsx").expect("records");
    assert_eq!(document(&made[0])["submitted_at"], "2026-07-23T12:00:00Z");
}

#[test]
fn a_visit_id_is_made_the_same_every_time_and_never_of_two_visits() {
    let with_id = BASE.replace("[[field]]\nname = \"Id\"\nto = \"/visit_id\"\n", "")
        + "\n[visitId]\nfrom = [\"/field/field_id\", \"/observed_on\"]\nprefix = \"north\"\n";
    let id = |field: &str| {
        let sheet = base_sheet(|rows| {
            rows.iter_mut().for_each(|row| {
                row.remove(0);
            });
            rows[1][0] = text(field);
        });
        document(&records(&with_id, sheet)[0])["visit_id"]
            .as_str()
            .expect("a text")
            .to_owned()
    };
    assert_eq!(id("F-1"), "north:F-1:2026-07-21");
    assert_eq!(id("F-1"), id("F-1"));
    assert_eq!(id("a:b"), "north:a%3Ab:2026-07-21");
    assert_ne!(id("a:b"), id("a%3Ab"));
}

fn refusal(mapping_text: &str, sheets: &[Sheet]) -> Failure {
    mapping(mapping_text)
        .records(sheets, "week30.xlsx")
        .expect_err("the file is refused")
}

#[test]
fn a_file_that_the_mapping_does_not_fit_is_refused_with_what_was_found() {
    let unknown = base_sheet(|rows| {
        rows[0].push(text("Initials"));
        rows[0].push(Cell::Empty);
        rows[1].extend([text("zz"), Cell::Number(4.0)]);
    });
    let cases: Vec<(String, Vec<Sheet>, &[&str])> = vec![
        (
            BASE.to_owned(),
            vec![unknown.clone()],
            &["I \"Initials\" (I2: \"zz\")", "J \"\" (J2: 4)", "ignore"],
        ),
        (
            BASE.replace("\"Area\"", "[\"Acres\", \"Size\"]"),
            vec![base_sheet(|_| {})],
            &[
                "/field/area_ha (\"Acres\" or \"Size\")",
                "A \"Id\", B \"Field\"",
                "optional",
            ],
        ),
        (
            BASE.to_owned(),
            vec![base_sheet(|rows| rows.insert(0, vec![text("Week 30")]))],
            &["headerRows = [2]"],
        ),
        (
            BASE.to_owned(),
            vec![base_sheet(|rows| rows[0].push(text("eggs")))],
            &["more than one column is called \"Eggs\": H, I"],
        ),
        (
            BASE.to_owned(),
            vec![base_sheet(|_| {}), sheet("Other", vec![vec![text("x")]])],
            &["2 sheets hold data", "\"Visits\", \"Other\""],
        ),
        (
            BASE.replace("[rows]", "[dialect]\nsheetName = \"visits\"\n\n[rows]"),
            vec![base_sheet(|_| {}), sheet("Other", vec![vec![text("x")]])],
            &["does not mention the sheet \"Other\"", "ignoreSheets"],
        ),
        (
            BASE.replace("name = \"Area\"", "column = \"E\""),
            vec![base_sheet(|_| {})],
            &["column E is mapped to both"],
        ),
    ];
    for (mapping_text, sheets, words) in cases {
        let failure = refusal(&mapping_text, &sheets).to_string();
        for word in words {
            assert!(failure.contains(word), "{word:?} is not in: {failure}");
        }
        assert!(
            failure.contains("week30.xlsx") && failure.contains("\nmend:"),
            "{failure}"
        );
        assert_eq!(failure.lines().count(), 3, "{failure}");
    }
    let ignoring = BASE.replace(
        "target =",
        "ignore = [\"initials\", { column = \"J\" }]\ntarget =",
    );
    assert!(records(&ignoring, unknown)[0].document.is_ok());
    let optional = BASE.replace("[[field]]\nname = \"Id\"", "[[field]]\nname = \"Farm\"\nto = \"/field/farm_id\"\noptional = true\n\n[[field]]\nname = \"Id\"");
    assert!(records(&optional, base_sheet(|_| {}))[0].document.is_ok());
}

#[test]
fn the_program_takes_what_the_schema_takes_and_makes_sense() {
    let schema: Value = serde_json::from_str(MAPPING_SCHEMA).expect("the schema is JSON");
    jsonschema::draft202012::meta::validate(&schema).expect("the schema keeps its meta-schema");
    let validator = jsonschema::draft202012::new(&schema).expect("the schema compiles");
    for case in mapping_cases() {
        assert_eq!(
            validator.is_valid(&case.document),
            case.keeps_schema,
            "the schema on {}",
            case.name
        );
        let text = toml::to_string(&case.document).expect("TOML");
        match Mapping::read(&text, "a.toml") {
            Ok(_) => assert!(case.is_taken, "{} was taken", case.name),
            Err(failure) => {
                assert!(!case.is_taken, "{}: {failure}", case.name);
                let words = failure.to_string();
                assert!(
                    words.contains("\nwhere: a.toml") && words.contains("\nmend:"),
                    "{words}"
                );
                assert_eq!(words.lines().count(), 3, "{words}");
            }
        }
    }
}

#[test]
fn a_mapping_that_is_no_toml_names_the_line() {
    let failure = Mapping::read("mapping = \"1\"\ntarget = \n", "a.toml").expect_err("no TOML");
    assert!(failure.to_string().contains("a.toml, line 2"), "{failure}");
    let failure =
        Mapping::read(&BASE.replace("rowIs", "rowsAre"), "a.toml").expect_err("no member");
    assert!(failure.to_string().contains("rowsAre"), "{failure}");
}

#[test]
fn a_suggested_mapping_asks_before_it_is_taken() {
    let sheet = csv_sheet("wide.csv", b',');
    let draft = suggest(&[sheet]);
    let document: toml::Value =
        toml::from_str(&draft).unwrap_or_else(|error| panic!("{error}\n{draft}"));
    assert_eq!(document["dialect"]["headerRows"][0].as_integer(), Some(3));
    for line in [
        "to = \"/field/field_id\"",
        "name = \"Area (ac)\"",
        "to = \"/economics/market_value/amount\"",
        "DECIDE: how dates are written",
        "Cells: \"7/20/2026\"",
    ] {
        assert!(draft.contains(line), "{line} is not in:\n{draft}");
    }
    let failure =
        Mapping::read(&draft, "draft.toml").expect_err("a draft is not applied by itself");
    assert!(failure.to_string().contains("mend:"), "{failure}");
    assert!(suggest(&[]).starts_with('#'));
}

fn plain_sheet(visits: &[Visit]) -> Sheet {
    let bracts = visits
        .iter()
        .flat_map(|visit| &visit.sites)
        .flat_map(|site| site.heads.iter().flat_map(Heads::iter))
        .map(<[Count]>::len)
        .max()
        .unwrap_or(6);
    let header = plain_header(bracts).iter().map(|name| text(name)).collect();
    let rows = visits.iter().flat_map(plain_rows);
    sheet("", std::iter::once(header).chain(rows).collect())
}

fn plain(sheets: &[Sheet]) -> Vec<TableRecord> {
    plain_records(sheets, "a.csv")
        .expect("the plain layout is recognised")
        .unwrap_or_else(|failure| panic!("{failure}"))
}

/// The sheet as a text file holds it: every cell is text.
fn as_text(mut sheet: Sheet) -> Sheet {
    for cell in sheet.rows.iter_mut().flat_map(|row| &mut row.cells) {
        *cell = match &*cell {
            Cell::Number(number) => text(&number.to_string()),
            Cell::Truth(truth) => text(&truth.to_string()),
            Cell::Empty => Cell::Empty,
            other => other.clone(),
        };
    }
    sheet
}

fn sample_visit() -> Visit {
    let text = include_str!("../sample_data/one_visit.json");
    serde_json::from_str(text).expect("the sample visit")
}

#[test]
fn the_plain_layout_is_told_by_its_header_alone() {
    let visit = sample_visit();
    let made = plain(&[plain_sheet(std::slice::from_ref(&visit))]);
    assert_eq!(
        serde_json::from_value::<Visit>(document(&made[0])).expect("a visit"),
        visit
    );
    let mut titled = plain_sheet(std::slice::from_ref(&visit));
    titled.rows[0].cells.insert(0, text("held_reason"));
    titled.rows[1].cells.insert(0, text("anything"));
    titled.rows[2].cells.insert(0, Cell::Empty);
    titled.rows.iter_mut().for_each(|row| row.number += 2);
    titled.rows.insert(
        0,
        Row {
            number: 1,
            cells: vec![text("Count sheet")],
        },
    );
    let instructions = sheet("Read me", vec![vec![text("Fill in one row a head.")]]);
    assert_eq!(
        plain(&[instructions.clone(), titled])[0].document,
        made[0].document
    );
    let mut other = plain_sheet(&[visit]);
    other.rows[0].cells.push(text("colour"));
    assert!(plain_records(&[other, instructions], "a.csv").is_none());
}

#[test]
fn a_filled_count_sheet_need_not_repeat_the_visit() {
    let visit = sample_visit();
    let mut sheet = plain_sheet(std::slice::from_ref(&visit));
    for cell in &mut sheet.rows[2].cells[..26] {
        *cell = Cell::Empty;
    }
    // Printed for a head that was not examined.
    let mut printed = vec![Cell::Empty; 30];
    printed[26] = Cell::Number(2.0);
    printed.push(Cell::Number(1.0));
    sheet.rows.push(Row {
        number: 4,
        cells: printed,
    });
    let made = plain(&[sheet]);
    assert_eq!(made.len(), 1);
    assert_eq!(
        serde_json::from_value::<Visit>(document(&made[0])).expect("a visit"),
        visit
    );
}

#[test]
fn the_plain_layout_guesses_nothing_either() {
    let with = |column: &str, cell: Cell| {
        let mut sheet = plain_sheet(&[sample_visit()]);
        let place = plain_header(6)
            .iter()
            .position(|name| name == column)
            .expect("a column");
        for row in &mut sheet.rows[1..] {
            row.cells[place] = cell.clone();
        }
        let record = plain(&[sheet]).remove(0);
        findings(&record)[0].clone()
    };
    let cases = [
        ("observed_on", text("7/6/2026"), "date-ambiguous"),
        ("count_2", Cell::Empty, "cell-blank"),
        ("count_2", text("<5"), "number-not-exact"),
        ("lon", text("100.5 W"), "angle-not-decimal"),
        ("field_id", Cell::Empty, "cell-blank"),
        ("area_ha", text("62,4"), "number-unreadable"),
        ("crop_stage", text("'\"R3"), "text-mark-unreadable"),
        ("retracted", text("perhaps"), "truth-unreadable"),
        ("outline", text("{"), "outline-not-json"),
        (
            "plant_population_count",
            Cell::Date(date(2026, 1, 2)),
            "date-in-number",
        ),
    ];
    for (column, cell, code) in cases {
        let finding = with(column, cell);
        assert_eq!(finding.code, code, "{column}: {finding}");
        assert!(finding.found.contains(column), "{finding}");
    }
    let mut sheet = plain_sheet(&[sample_visit()]);
    sheet.rows.iter_mut().for_each(|row| {
        row.cells.remove(15);
    });
    let failure = plain_records(&[sheet], "a.csv")
        .expect("recognised")
        .expect_err("no stage");
    assert!(failure.to_string().contains("/crop_stage"), "{failure}");
}

pub fn short_text() -> BoxedStrategy<String> {
    let any = "[^\\x00-\\x1f\\x7f-\\u{9f}]{1,30}";
    let formula = "[=+@'\"_-][^\\x00-\\x1f\\x7f-\\u{9f}]{0,8}";
    prop_oneof![
        any,
        formula,
        Just("_x000D_".to_owned()),
        Just("\u{feff}a\u{a0}".to_owned()),
        "[0-9]{1,20}",
        "[0-9]E\\+[0-9]{2}"
    ]
    .prop_map(|text| text.trim_matches(' ').to_owned())
    .prop_filter("a text is not empty", |text| !text.is_empty())
    .boxed()
}

pub fn remarks() -> BoxedStrategy<String> {
    prop_oneof![
        "[^\\x00-\\x08\\x0b\\x0c\\x0e-\\x1f\\x7f-\\u{9f}]{0,60}",
        "[=+@' \t\r\n-]{0,4}[a-z]{0,3}[ \n]{0,2}"
    ]
    .boxed()
}

fn amount() -> BoxedStrategy<f64> {
    prop_oneof![
        (1u64..1_000_000).prop_map(|number| number as f64 / 100.0),
        any::<u64>().prop_map(|bits| f64::from_bits(bits).abs()),
        Just(0.1 + 0.2),
        Just(5e-324),
        Just(1e9),
    ]
    .prop_filter("an amount", |amount| *amount > 0.0 && *amount <= 1e9)
    .boxed()
}

fn sites() -> BoxedStrategy<Vec<Site>> {
    let count = || prop_oneof![0u32..5, 0u32..=1_000_000].prop_map(Count);
    let heads = prop::collection::vec(prop::collection::vec(count(), 1..8), 1..4);
    let plants = prop::collection::vec(count(), 1..4);
    let traps = prop::collection::vec(
        (count(), 1u32..=366).prop_map(|(catch, nights)| Trap { catch, nights }),
        1..4,
    );
    let counts = prop_oneof![
        heads.prop_map(|heads| (Some(heads.into_iter().collect()), None, None)),
        plants.prop_map(|plants| (None, Some(plants), None)),
        traps.prop_map(|traps| (None, None, Some(traps))),
    ];
    let point = prop::option::of((-180.0..=180.0f64, -90.0..=90.0f64));
    let site = (prop::option::of(short_text()), point, counts);
    let numbers = prop::collection::hash_set(1u32..=1_000_000, 1..4);
    (numbers, prop::collection::vec(site, 4))
        .prop_map(|(numbers, sites)| {
            numbers
                .into_iter()
                .zip(sites)
                .map(|(site, (side, point, (heads, plants, traps)))| Site {
                    site,
                    side,
                    lon: point.map(|point| point.0),
                    lat: point.map(|point| point.1),
                    heads,
                    plants,
                    traps,
                })
                .collect()
        })
        .boxed()
}

fn field() -> BoxedStrategy<Field> {
    let optional = || prop::option::of(short_text());
    let corner = || (-180.0..=180.0f64, -90.0..=90.0f64).prop_map(|(lon, lat)| [lon, lat]);
    let ring = prop::collection::vec(corner(), 4..6);
    let outline =
        prop::option::of(
            prop::collection::vec(ring, 1..3).prop_map(|coordinates| Outline {
                kind: "Polygon".to_owned(),
                coordinates,
            }),
        );
    (
        short_text(),
        corner(),
        amount(),
        short_text(),
        optional(),
        optional(),
        outline,
    )
        .prop_map(
            |(field_id, [lon, lat], area_ha, crop_type, farm_id, county_id, outline)| Field {
                field_id,
                lon,
                lat,
                area_ha,
                crop_type,
                farm_id,
                county_id,
                outline,
            },
        )
        .boxed()
}

/// Any of the three may be unknown to the scout.
fn economics() -> BoxedStrategy<Economics> {
    let area = || prop_oneof![Just(AreaUnit::Acre), Just(AreaUnit::Ha)];
    let weight = prop_oneof![Just(WeightUnit::Lb), Just(WeightUnit::Kg)];
    let cost = (amount(), area(), "[A-Z]{3}").prop_map(|(amount, per, currency)| TreatmentCost {
        amount,
        per,
        currency,
    });
    let value = (amount(), weight, "[A-Z]{3}").prop_map(|(amount, per, currency)| MarketValue {
        amount,
        per,
        currency,
    });
    let plants = (amount(), area()).prop_map(|(count, per)| PlantPopulation { count, per });
    let mostly = 0.9;
    (
        proptest::option::weighted(mostly, cost),
        proptest::option::weighted(mostly, value),
        proptest::option::weighted(mostly, plants),
    )
        .prop_map(
            |(treatment_cost, market_value, plant_population)| Economics {
                treatment_cost,
                market_value,
                plant_population,
            },
        )
        .boxed()
}

prop_compose! {
    fn any_visit()(
        visit_id in short_text(),
        revision in prop_oneof![Just(1u32), 1..=1_000_000u32],
        day in (1000i16..=2999, 1i8..=12, 1i8..=28),
        time in "(T[01][0-9]:[0-5][0-9]:[0-5][0-9])([.][0-9]{1,9})?(Z|[+-][01][0-9]:[0-5][0-9])",
        observer_id in short_text(),
        field in field(),
        protocol in short_text(),
        crop_stage in short_text(),
        economics in economics(),
        sites in sites(),
        remarks in prop::option::of(remarks()),
        retracted in prop::option::of(any::<bool>()),
    ) -> Visit {
        let observed_on = date(day.0, day.1, day.2).to_string();
        let submitted_at = format!("{observed_on}{time}");
        Visit {
            schema_version: "1.0".to_owned(), visit_id, revision, observed_on, submitted_at, observer_id, field,
            protocol, crop_stage, economics, sites, remarks, retracted,
        }
    }
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(128))]

    #[test]
    fn a_visit_survives_the_plain_layout(first in any_visit(), second in any_visit()) {
        prop_assume!(first.visit_id != second.visit_id);
        prop_assert!(first.conforms() && second.conforms());
        let written = plain_sheet(&[first.clone(), second.clone()]);
        for cell in written.rows.iter().flat_map(|row| &row.cells) {
            if let Cell::Text(text) = cell {
                prop_assert!(!text.starts_with(['=', '+', '-', '@', '\t', '\r']), "{:?} starts a formula", text);
            }
        }
        for sheet in [written.clone(), as_text(written)] {
            let made = plain(&[sheet]);
            let read: Vec<Visit> = made
                .iter()
                .map(|record| {
                    let document = record.document.as_ref().unwrap_or_else(|findings| panic!("{findings:#?}"));
                    serde_json::from_str(document).unwrap_or_else(|error| panic!("{error}: {document}"))
                })
                .collect();
            prop_assert_eq!(&read, &[first.clone(), second.clone()]);
        }
    }

    #[test]
    fn no_text_of_a_cell_brings_a_mapping_down(cells in prop::collection::vec(".{0,12}", 8)) {
        let sheet = base_sheet(|rows| rows.push(cells.iter().map(|cell| text(cell)).collect()));
        let made = mapping(BASE).records(&[sheet], "a.csv");
        let made = made.expect("the columns are there");
        let blank = cells.iter().all(|cell| cell.trim().is_empty());
        prop_assert!(made.len() == 2 || blank);
    }
}
