//! Rows that were held, corrected by other programs and loaded as they are.

use std::path::PathBuf;
use std::process::Command;

use bractline::shared::table_files::table_xlsx;
use intake::sheet::table::Cell;
use serde_json::{Value, json};

use crate::held_desk::mend;
use crate::judge::python;
use crate::sheet_load::{filled_sheet, head_cells, visit_cells};
use crate::support::held_desk::{export, load, open};
use crate::support::mended::{WIDE, load_mapped, wide};
use crate::support::{Counts, TestWorkspace, counts, full_visit, lines, received, text_of};

const LONG: &str = "sample_data/mappings/long.toml";

/// Visits in the layout of `long.csv` as a workbook, a row a bract: one without a latitude, one with a word
/// for a count.
fn long() -> Vec<u8> {
    let text = std::fs::read_to_string("sample_data/mappings/long.csv").expect("the sample");
    let header: Vec<String> = text
        .lines()
        .next()
        .expect("a header")
        .split(';')
        .map(str::to_owned)
        .collect();
    let visit = |field: &str, lat: Option<f64>| {
        let text = |text: &str| Cell::Text(text.to_owned());
        vec![
            text(field),
            text("20.07.2026"),
            text("obs-9007"),
            Cell::Number(-100.25),
            lat.map_or(Cell::Empty, Cell::Number),
            Cell::Number(40.0),
            text("oil"),
            text("R3"),
            Cell::Number(8.0),
            Cell::Number(0.16),
            Cell::Number(20_000.0),
            Cell::Empty,
        ]
    };
    let mut rows = Vec::new();
    for (field, lat, wrong) in [("F-9007", None, ""), ("F-9008", Some(44.5), "a few")] {
        let mut first = visit(field, lat);
        for head in 1..=4 {
            for bract in 1..=6 {
                let mut row = std::mem::replace(&mut first, vec![Cell::Empty; 12]);
                let site = f64::from((head + 1) / 2);
                row.extend([Cell::Number(site), Cell::Text("N".to_owned())]);
                row.extend([f64::from((head + 1) % 2 + 1), f64::from(bract)].map(Cell::Number));
                row.push(match (wrong, head, bract) {
                    ("", _, _) => Cell::Number(f64::from((head * bract) % 5)),
                    (wrong, 3, 4) => Cell::Text(wrong.to_owned()),
                    _ => Cell::Number(f64::from((head + bract) % 4)),
                });
                rows.push(row);
            }
        }
    }
    table_xlsx("Scouting", &header, rows.iter().map(Vec::as_slice)).expect("a workbook")
}

/// All four ways by which records come, each with something to hold.
fn sent(workspace: &TestWorkspace) {
    let mut negative = full_visit("negative");
    negative["sites"][0]["heads"][1][2] = json!(-1);
    let account = workspace.load_text("app.ndjson", &lines(&[full_visit("good"), negative]));
    assert_eq!(counts(&account), received(2).accepted(1).held(1));

    let wide = workspace.write("wide.csv", wide());
    let account = load_mapped(workspace, &wide, WIDE);
    assert_eq!(
        counts(&account),
        received(3).accepted(1).held(2),
        "{account:#}"
    );

    let long = workspace.write("long.xlsx", long());
    let account = load_mapped(workspace, &long, LONG);
    assert_eq!(counts(&account), received(2).held(2), "{account:#}");

    let mut visits = visit_cells(2, "F-1", -100.1);
    visits.extend(visit_cells(3, "F-2", -100.2));
    visits.insert("B3".to_owned(), json!("6/7/2026"));
    let mut counted = head_cells(&[2, 3, 7, 12, 22, 23]);
    counted.insert("G7".to_owned(), json!("1/2"));
    let sheet = filled_sheet(
        workspace,
        "sheet.xlsx",
        &json!({"Visits": visits, "Counts": counted}),
    );
    let account = workspace.load(&[&sheet]);
    assert_eq!(counts(&account), received(2).held(2), "{account:#}");
    assert_eq!(open(workspace), 7);
}

/// What their senders write into the cells that the export names.
fn mendings() -> Value {
    let cell =
        |file: &str, says: &str, write: Value| json!({"file": file, "says": says, "write": write});
    json!({
        "negative": {"/sites/0/heads/1/2": 1},
        "cells": [
            cell("wide.csv", "B5 (Date)", json!({"observed_on": "2026-07-21"})),
            cell("wide.csv", "I5 (Cost ($/ac))", json!({"treatment_cost_amount": 9.5})),
            cell("wide.csv", "treatment_cost_per: nothing", json!({"treatment_cost_per": "acre"})),
            cell("wide.csv", "\"1/2\"", json!({"count_3": 2})),
            cell("wide.csv", "area in hectares", json!({"area_ha": 101.5})),
            cell("wide.csv", "R77", json!({"crop_stage": "R3"})),
            cell("long.xlsx", "latitude", json!({"lat": 44.25})),
            cell("long.xlsx", "a few", json!({"count_4": 3})),
            cell("sheet.xlsx", "Visits!B3 (Day)", json!({"observed_on": "2026-07-06"})),
            cell("sheet.xlsx", "Counts!G7 (Bract 3)", json!({"count_3": 2})),
        ],
    })
}

fn visit_ids(workspace: &TestWorkspace) -> Vec<String> {
    let stored = workspace.store_rows();
    let visits = stored["visits"].as_array().expect("visits").clone();
    let ids = visits
        .iter()
        .map(|visit| visit[0].as_str().expect("an id").to_owned());
    ids.collect()
}

/// Nothing is open, nothing is there twice, the receipts add up, and the store is whole.
fn assert_all_mended(workspace: &TestWorkspace) {
    assert_eq!(open(workspace), 0);
    let mut ids = visit_ids(workspace);
    assert_eq!(ids.len(), 9, "{ids:?}");
    ids.dedup();
    assert_eq!(ids.len(), 9, "nothing is there twice");
    let stored = workspace.store_rows();
    let closed = stored["held_closed"].as_array().expect("closings");
    assert_eq!(closed.len(), 7);
    assert!(closed.iter().all(|closing| closing["how"] == "corrected"));
    for receipt in stored["receipts"].as_array().expect("receipts") {
        let number = |name: &str| receipt[name].as_u64().expect("a number");
        assert_eq!(
            number("received"),
            number("accepted") + number("duplicate") + number("held")
        );
    }
    workspace.run(&["store", "verify"]).expect_code(0);
}

// --- There and back ------------------------------------------------------------------------------

#[test]
fn what_came_in_four_ways_goes_back_is_mended_in_the_named_cells_and_closed() {
    let workspace = TestWorkspace::of_region("us:46");
    sent(&workspace);
    let files = export(&workspace, "xlsx", "desk", ".xlsx");
    let mended = mend(&workspace, &files, &mendings());
    let account = load(&workspace, &mended);
    assert_eq!(counts(&account), received(7).accepted(7), "{account:#}");
    assert_eq!(account["closed"], 7);
    assert_all_mended(&workspace);

    // Once more, beside a mapping that is for other tables: duplicates, and no second closing.
    for file in &mended {
        let again = load_mapped(&workspace, file, WIDE);
        let Counts {
            received,
            duplicate,
            ..
        } = counts(&again);
        assert_eq!(
            (duplicate, &again["closed"]),
            (received, &json!(0)),
            "{again:#}"
        );
    }
    assert_all_mended(&workspace);
}

#[test]
fn a_mended_workbook_that_libreoffice_saved_again_is_the_same() {
    let workspace = TestWorkspace::of_region("us:46");
    sent(&workspace);
    let files = export(&workspace, "xlsx", "desk", ".xlsx");
    let mended = mend(&workspace, &files, &mendings());
    let saved = saved_by_libreoffice(&workspace, &mended);
    let account = load(&workspace, &saved);
    assert_eq!(counts(&account), received(7).accepted(7), "{account:#}");
    assert_all_mended(&workspace);
    let as_openpyxl_saved_them = load(&workspace, &mended);
    assert_eq!(counts(&as_openpyxl_saved_them), received(7).duplicate(7));
}

#[test]
fn tables_of_text_and_lines_come_back_as_well() {
    let workspace = TestWorkspace::of_region("us:46");
    sent(&workspace);
    let files = export(&workspace, "csv", "desk", ".csv");
    let mended = mend(&workspace, &files, &mendings());
    let account = load(&workspace, &mended);
    assert_eq!(counts(&account), received(7).accepted(7), "{account:#}");
    assert_all_mended(&workspace);

    let workspace = TestWorkspace::of_region("us:46");
    sent(&workspace);
    let files = export(&workspace, "ndjson", "desk", ".ndjson");
    // The day of the count sheet alone: its identity is made of it when it comes back.
    let text = files
        .iter()
        .map(|file| std::fs::read_to_string(file).expect("lines"));
    let text = text.collect::<String>();
    let day: Vec<&str> = text
        .lines()
        .filter(|line| line.contains("\"F-2\""))
        .collect();
    let day = [day.join("\n").replace("\"6/7/2026\"", "\"2026-07-06\"")];
    let account = workspace.load_text("day.ndjson", &day[0]);
    assert_eq!(counts(&account), received(1).accepted(1), "{account:#}");
    assert!(
        visit_ids(&workspace)
            .iter()
            .any(|id| id.starts_with("count-sheet-"))
    );
    assert_eq!(open(&workspace), 6);
}

#[test]
fn a_sender_who_mends_the_own_sheet_too_brings_nothing_twice() {
    let workspace = TestWorkspace::of_region("us:46");
    sent(&workspace);
    let files = export(&workspace, "xlsx", "desk", ".xlsx");
    load(&workspace, &mend(&workspace, &files, &mendings()));
    let own = wide()
        .replace("21/7/2026", "7/21/2026")
        .replace("about nine", "$9.50")
        .replace(",1/2,", ",2,");
    let own = workspace.write("wide mended.csv", own);
    let account = load_mapped(&workspace, &own, WIDE);
    let Counts {
        received,
        accepted,
        duplicate,
        ..
    } = counts(&account);
    assert_eq!((received, accepted, duplicate), (3, 0, 2), "{account:#}");
}

#[test]
fn rows_that_come_back_as_they_went_stay_held_once() {
    let workspace = TestWorkspace::of_region("us:46");
    sent(&workspace);
    let files = export(&workspace, "xlsx", "desk", ".xlsx");
    let account = load(&workspace, &files);
    assert_eq!(counts(&account), received(7).held(7), "{account:#}");
    assert_eq!(open(&workspace), 7, "each is open once");
    let again = load(&workspace, &files);
    assert_eq!(
        (counts(&again), &again["held_before"]),
        (received(7).held(7), &json!(7))
    );
    assert_eq!(open(&workspace), 7);
    // The first export, mended, closes what is in the place of its records now.
    let mended = mend(&workspace, &files, &mendings());
    let account = load(&workspace, &mended);
    assert_eq!(
        (counts(&account), &account["closed"]),
        (received(7).accepted(7), &json!(7))
    );
    assert_eq!(open(&workspace), 0);
}

/// Workbooks as LibreOffice saves them.
fn saved_by_libreoffice(workspace: &TestWorkspace, files: &[PathBuf]) -> Vec<PathBuf> {
    let out = workspace.beside("saved");
    let profile = format!(
        "-env:UserInstallation=file://{}",
        text_of(&workspace.beside("profile"))
    );
    let run = Command::new("soffice")
        .args(["--headless", &profile, "--convert-to", "xlsx", "--outdir"])
        .arg(&out)
        .args(files)
        .output()
        .expect("soffice starts; `bash tests/run` installs it");
    assert!(run.status.success(), "{run:?}");
    let names = files
        .iter()
        .map(|file| out.join(file.file_name().expect("a name")));
    names.collect()
}

#[test]
fn no_cell_of_rows_that_go_back_is_a_formula_whatever_was_sent() {
    let workspace = TestWorkspace::of_region("us:46");
    let formulas = [
        "=1+1",
        "+1+1",
        "-1+1",
        "@SUM(1)",
        "\t=1+1",
        "\r=1+1",
        "\u{ff1d}1+1",
        "=cmd|' /C calc'!A0",
    ];
    let text = std::fs::read_to_string("sample_data/mappings/wide.csv").expect("the sample");
    let rows: Vec<&str> = text.lines().collect();
    let mut table: Vec<Vec<String>> = Vec::new();
    for row in &rows[..3] {
        table.push(row.split(',').map(str::to_owned).collect());
    }
    for formula in formulas {
        // Every cell hostile, and each cell in its turn.
        let good: Vec<String> = rows[4].split(',').map(str::to_owned).collect();
        table.push(vec![formula.to_owned(); good.len()]);
        for at in 0..good.len() {
            let mut row = good.clone();
            row[at] = formula.to_owned();
            row[6] = "=Type".to_owned();
            table.push(row);
        }
    }
    let mut writer = csv::WriterBuilder::new()
        .flexible(true)
        .from_writer(Vec::new());
    for row in &table {
        writer.write_record(row).expect("a row");
    }
    let file = workspace.write("=1+1.csv", writer.into_inner().expect("a table"));
    let account = load_mapped(&workspace, &file, WIDE);
    assert_eq!(account["accepted"], 0, "{account:#}");

    for (form, ending) in [("xlsx", ".xlsx"), ("csv", ".visits.csv")] {
        let files = export(&workspace, form, form, ending);
        let names: Vec<String> = files.iter().map(|file| text_of(file)).collect();
        let names: Vec<&str> = names.iter().map(String::as_str).collect();
        let checked: Value =
            serde_json::from_str(&python("tests/reference/check_export.py", &names)).expect("JSON");
        let mut report = 0;
        for (file, checked) in checked.as_object().expect("files") {
            assert_eq!(checked["formulas"], json!([]), "{file}");
            let texts = checked["texts"].as_array().expect("texts");
            let hostile = texts
                .iter()
                .filter(|text| text.as_str().is_some_and(|text| text.contains("=1+1")));
            report += hostile.count();
        }
        assert!(
            report >= 20,
            "the hostile texts are there, as texts: {report}"
        );
    }
}
