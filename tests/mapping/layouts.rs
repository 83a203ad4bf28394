//! Layouts that are not one row a visit: days across the top, rows and columns exchanged, fields in another tab, a day in
//! several columns, one total a bud. Each is read as it is meant, or refused with what is wrong.

use intake::mapping::Mapping;
use intake::sheet::table::{Cell, Sheet};
use serde_json::json;

use super::{base_header, base_row, document, findings, mapping, records, sheet, text, with};
use crate::support::mapping::BASE;

/// The base mapping with the counts of one day each under headers that are days.
fn days_across() -> String {
    BASE.replace(
        "name = \"Eggs\"",
        "namePattern = \"^(?<day>[0-9]{4}-[0-9]{2}-[0-9]{2})$\"",
    )
    .replace("name = \"Date\"", "name = \"day\"")
    .replace(
        "name = \"Id\"\nto = \"/visit_id\"\n",
        "name = \"Id\"\nto = \"/remarks\"\n",
    )
    .replace(
        "[constant]",
        "[visitId]\nfrom = [\"/field/field_id\", \"/observed_on\"]\n\n[constant]",
    )
}

fn across(counts: [Cell; 2]) -> Sheet {
    let mut header = base_header();
    let mut row = base_row();
    header.remove(2);
    row.remove(2);
    header.splice(6.., ["2026-07-14", "2026-07-21"].map(text));
    row.splice(6.., counts);
    sheet("Visits", vec![header, row])
}

#[test]
fn a_day_in_the_header_makes_a_visit_of_its_own() {
    let made = records(
        &days_across(),
        across([Cell::Number(0.0), Cell::Number(7.0)]),
    );
    let visits: Vec<_> = made.iter().map(document).collect();
    assert_eq!(visits.len(), 2);
    for (visit, (day, eggs)) in visits.iter().zip([("2026-07-14", 0), ("2026-07-21", 7)]) {
        assert_eq!(visit["observed_on"], day);
        assert_eq!(visit["visit_id"], format!("F-9001:{day}"));
        assert_eq!(visit["sites"][0]["heads"], json!([[eggs]]));
    }
}

#[test]
fn a_day_without_a_count_is_no_visit_and_a_row_without_any_is_held() {
    let made = records(&days_across(), across([Cell::Empty, Cell::Number(7.0)]));
    assert_eq!(made.len(), 1);
    assert_eq!(document(&made[0])["observed_on"], "2026-07-21");
    let made = records(&days_across(), across([Cell::Empty, Cell::Empty]));
    assert!(!made.is_empty());
    assert!(made.iter().all(|record| record.document.is_err()));
}

#[test]
fn what_is_kept_of_a_held_day_has_the_counts_of_that_day_alone() {
    let made = records(&days_across(), across([text("3?"), Cell::Number(7.0)]));
    assert_eq!(made.len(), 2);
    assert_eq!(findings(&made[0])[0].pointer, "/sites/0/heads/0/0");
    assert!(made[0].as_sent.contains("\"3?\"") && !made[0].as_sent.contains("7.0"));
    assert_eq!(document(&made[1])["sites"][0]["heads"], json!([[7]]));
}

#[test]
fn rows_and_columns_may_be_exchanged_and_cells_keep_their_places() {
    let (header, mut row) = (base_header(), base_row());
    row[5] = text("62,5");
    let rows = header
        .into_iter()
        .zip(row)
        .map(|(name, value)| vec![name, value]);
    let turned = sheet("Visits", rows.collect());
    let mapping_text = format!("{BASE}\n[dialect]\ntranspose = true\n");
    let made = records(&mapping_text, turned.clone());
    assert_eq!(made.len(), 1);
    let [finding] = findings(&made[0]) else {
        panic!("one finding: {:?}", made[0].document);
    };
    assert!(
        finding.found.starts_with("Visits!B6 (Area): \"62,5\""),
        "{finding:?}"
    );
    let with_decimal = format!("{mapping_text}\n[schema]\ndecimalChar = \",\"\n");
    let lon = with_decimal.replace(
        "to = \"/field/lon\"",
        "to = \"/field/lon\"\ndecimalChar = \".\"",
    );
    let all = lon
        .replace(
            "to = \"/field/lat\"",
            "to = \"/field/lat\"\ndecimalChar = \".\"",
        )
        .replace(
            "to = \"/economics/market_value/amount\"",
            "to = \"/economics/market_value/amount\"\ndecimalChar = \".\"",
        );
    let made = records(&all, turned);
    assert_eq!(document(&made[0])["field"]["area_ha"], 62.5);
}

/// The base row without its area and point, which are in another sheet.
fn two_sheets(fields: &[&[&str]]) -> [Sheet; 2] {
    let (mut header, mut row) = (base_header(), base_row());
    for cells in [&mut header, &mut row] {
        cells.drain(3..6);
    }
    let texts = |cells: &&[&str]| cells.iter().map(|cell| text(cell)).collect();
    [
        sheet("Counts", vec![header, row]),
        sheet("Fields", fields.iter().map(texts).collect()),
    ]
}

const FIELDS: [&[&str]; 3] = [
    &["Plot", "Lon", "Lat", "Area"],
    &["F-9002", "-99.5", "44.5", "1"],
    &["f-9001", "-100.5", "45.25", "62.5"],
];

fn joined() -> Mapping {
    let join = "\n[dialect]\nsheetName = \"Counts\"\n\n[[join]]\nsheetName = \"Fields\"\nname = [\"Field\", \"Plot\"]\n";
    mapping(&format!("{BASE}{join}"))
}

#[test]
fn columns_of_another_tab_are_found_by_a_key() {
    let made = joined()
        .records(&two_sheets(&FIELDS), "a.xlsx")
        .expect("records");
    let visit = document(&made[0]);
    assert_eq!(visit["field"]["area_ha"], 62.5);
    assert_eq!(made[0].places["/field/lat"], "Fields!C3 (Lat)");
}

#[test]
fn a_joined_tab_that_does_not_say_one_thing_of_a_row_is_no_source() {
    let refused = |fields: &[&[&str]]| {
        let refused = joined().records(&two_sheets(fields), "a.xlsx");
        refused.expect_err("it is refused").to_string()
    };
    let twice = [FIELDS[0], FIELDS[2], FIELDS[2]];
    assert!(
        refused(&twice).contains("two rows of the sheet \"Fields\" are for \"f-9001\": 2 and 3")
    );
    let unnamed = [FIELDS[0], FIELDS[2], &["", "-99.5", "44.5", "1"]];
    assert!(refused(&unnamed).contains("row 3 of the sheet \"Fields\" names no \"Plot\""));
    let more = [
        &["Plot", "Lon", "Lat", "Area", "Sprayed"][..],
        &["F-9001", "-100.5", "45.25", "62.5", "yes"],
    ];
    assert!(refused(&more).contains("\"Sprayed\" (Fields!E2: \"yes\")"));
    let none = [&["Name", "Lon", "Lat", "Area"][..]];
    assert!(refused(&none).contains("no column \"Field or Plot\" in common"));
    // A field that is not there leaves its cells blank, and the visit is held.
    let made = joined()
        .records(&two_sheets(&FIELDS[..2]), "a.xlsx")
        .expect("records");
    let held = findings(&made[0]);
    let area = held
        .iter()
        .find(|finding| finding.pointer == "/field/area_ha");
    let found = &area.expect("a finding about the area").found;
    assert_eq!(
        found,
        "sheet \"Fields\", no row for \"F-9001\" (Area): blank"
    );
}

#[test]
fn several_columns_may_make_a_day_and_a_missing_part_is_no_day() {
    let mapping_text = BASE.replace(
        "name = \"Date\"",
        "together = [\"Day\", \"Month\", \"Year\"]\nformat = \"%d %m %Y\"",
    );
    let with_parts = |parts: [&str; 3]| {
        let (mut header, mut row) = (base_header(), base_row());
        header.splice(2..3, ["Day", "Month", "Year"].map(text));
        row.splice(2..3, parts.map(text));
        records(&mapping_text, sheet("Visits", vec![header, row])).remove(0)
    };
    assert_eq!(
        document(&with_parts(["3", "8", "2026"]))["observed_on"],
        "2026-08-03"
    );
    for parts in [
        ["3", "", "2026"],
        ["", "8", "2026"],
        ["3", "8", ""],
        ["3", "13", "2026"],
    ] {
        let held = with_parts(parts);
        assert_eq!(findings(&held)[0].pointer, "/observed_on", "{parts:?}");
    }
    let blank = with_parts(["", "", ""]);
    assert_eq!(
        findings(&blank)[0].found,
        "Visits!C2 and Visits!D2 and Visits!E2 (Day and Month and Year): blank"
    );
}

#[test]
fn a_point_may_be_in_degrees_and_minutes_or_on_a_grid() {
    let point = |lon: &str, lat: &str, lines: &str| {
        let mapping_text = BASE
            .replace(
                "to = \"/field/lon\"",
                &format!("to = \"/field/lon\"\n{lines}"),
            )
            .replace(
                "to = \"/field/lat\"",
                &format!("to = \"/field/lat\"\n{lines}"),
            );
        let mut row = base_row();
        (row[3], row[4]) = (text(lon), text(lat));
        records(&mapping_text, sheet("Visits", vec![base_header(), row])).remove(0)
    };
    let dms = document(&point("100° 7' 30\" W", "45° 15' N", "format = \"dms\""));
    assert_eq!(
        (&dms["field"]["lon"], &dms["field"]["lat"]),
        (&json!(-100.125), &json!(45.25))
    );
    // pyproj 3.7.2, EPSG:4326 to EPSG:32614; the series of the crate is within a decimeter of it.
    let grid = document(&point(
        "411719.264888",
        "5011338.394940",
        "utmZone = \"14N\"",
    ));
    let near = |name: &str, value: f64| {
        (grid["field"][name].as_f64().expect("a number") - value).abs() < 1e-6
    };
    assert!(
        near("lon", -100.125) && near("lat", 45.25),
        "{}",
        grid["field"]
    );
    let degrees = point("-100.125", "45.25", "utmZone = \"14N\"");
    assert_eq!(findings(&degrees)[0].pointer, "/field/lon");
    let west = with("Lon", "hemisphere = \"W\"");
    let mut row = base_row();
    row[3] = text("100.5");
    let made = records(&west, sheet("Visits", vec![base_header(), row]));
    assert_eq!(document(&made[0])["field"]["lon"], -100.5);
}

#[test]
fn one_total_a_bud_is_a_unit_of_its_own() {
    let mapping_text = BASE.replace("name = \"Eggs\"", "namePattern = \"^Bud (?<head>[0-9]+)$\"");
    let target = BASE
        .split("to = \"")
        .last()
        .and_then(|rest| rest.split('"').next());
    let target = target.expect("the target of the counts");
    let mapping_text = mapping_text.replace(target, "/sites/{site}/plants/{plant}");
    let (mut header, mut row) = (base_header(), base_row());
    header.splice(7.., ["Bud 1", "Bud 2"].map(text));
    row.splice(7.., ["3", "0"].map(text));
    let made = records(&mapping_text, sheet("Visits", vec![header, row]));
    assert_eq!(
        document(&made[0])["sites"],
        json!([{"site": 1, "plants": [3, 0]}])
    );
}
