//! Three worked mappings give the same visits, and a mapping is suggested for a sheet.

use intake::mapping::{Mapping, suggest};
use intake::sheet::table::{Cell, Row, Sheet};
use scouting::visit::record::Visit;
use serde_json::{Value, json};

use super::{document, text};
use crate::support::mapping::FOLDER;

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
        lists: None,
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
fn a_suggested_mapping_asks_before_it_is_taken() {
    let sheet = csv_sheet("wide.csv", b',');
    let draft = suggest(&[sheet], "wide.csv");
    let document: toml::Value =
        toml::from_str(&draft).unwrap_or_else(|error| panic!("{error}\n{draft}"));
    assert_eq!(document["dialect"]["headerRows"][0].as_integer(), Some(3));
    for line in [
        "to = \"/field/field_id\"",
        "name = \"Area (ac)\"",
        "to = \"/economics/market_value/amount\"",
        "format = \"%m/%d/%Y\"",
        "Cells: \"7/20/2026\"",
        "unit = \"$/cwt\"",
        "DECIDE: the currency",
    ] {
        assert!(draft.contains(line), "{line} is not in:\n{draft}");
    }
    let failure =
        Mapping::read(&draft, "draft.toml").expect_err("a draft is not applied by itself");
    assert!(failure.to_string().contains("help:"), "{failure}");
    assert!(suggest(&[], "none.csv").starts_with('#'));
}
