//! Sheets as spreadsheet programs see them.

use std::path::{Path, PathBuf};
use std::process::Command;

use intake::count_sheet::reading::count_sheet_records;
use jiff::civil::{Date, date};
use scouting::protocol::catalogue::Protocol;
use serde_json::{Map, Value, json};

use super::{OnDisk, accepted, visit_cells};
use crate::support::sheet::{VISITS, protocols, sheets};

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
        check("J")["low"],
        json!(format!("\"{}\"", protocol.crop_types.join(",")))
    );
    assert_eq!(check("K")["type"], "list");
    assert!(
        check("K")["low"]
            .as_str()
            .expect("a list")
            .contains(",R5.1,")
    );
    assert_eq!(check("I")["low"], json!("\"acre,ha\""));
    assert_eq!(check("O")["low"], json!("\"acre,ha\""));
    assert_eq!(check("R")["low"], json!("\"lb,cwt,kg\""));
    assert_eq!(check("T")["low"], json!("\"acre,ha\""));

    let counts = tabs["Counts"]["checks"].as_object().expect("checks");
    let last = tabs["Counts"]["rows"].as_u64().expect("rows");
    let columns: &[&str] = match &*protocol.id {
        "bsm-eggs" => &["E", "F", "G", "H", "I", "J", "K"],
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
    assert_eq!(visits.len(), VISITS * 22);
    assert!(visits.contains(&"B2".to_owned()) && !visits.iter().any(|cell| cell.starts_with('A')));
    let (planned, counts, sides, columns) = match &*protocol.id {
        "bsm-eggs" => (VISITS * 4 * 5, 7, VISITS * 4, 11),
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
