//! Sheets that come back corrected and were changed otherwise as well: rows taken out or added, columns lost or added.

use std::path::PathBuf;

use serde_json::{Value, json};

use crate::support::held_desk::{all, export, load, open};
use crate::support::mended::{WIDE, load_mapped, wide};
use crate::support::{Run, TestWorkspace, counts, full_visit, lines, received, text_of};

/// A sheet of text as a person has it on the screen.
#[derive(Clone)]
struct Table {
    header: Vec<String>,
    rows: Vec<Vec<String>>,
}

impl Table {
    fn read(path: &PathBuf) -> Table {
        let text = std::fs::read_to_string(path).expect("a text");
        let mut reader = csv::Reader::from_reader(text.trim_start_matches('\u{feff}').as_bytes());
        let texts = |record: &csv::StringRecord| record.iter().map(str::to_owned).collect();
        let header = texts(reader.headers().expect("a header"));
        let rows = reader.records().map(|row| texts(&row.expect("a row")));
        Table {
            header,
            rows: rows.collect(),
        }
    }

    fn at(&self, name: &str) -> usize {
        let place = self.header.iter().position(|heading| heading == name);
        place.unwrap_or_else(|| panic!("no column {name}"))
    }

    fn put(mut self, row: usize, name: &str, text: &str) -> Table {
        let at = self.at(name);
        self.rows[row][at] = text.to_owned();
        self
    }

    fn without_row(mut self, row: usize) -> Table {
        self.rows.remove(row);
        self
    }

    fn without(mut self, names: &[&str]) -> Table {
        for name in names {
            let at = self.at(name);
            self.header.remove(at);
            for row in &mut self.rows {
                row.remove(at);
            }
        }
        self
    }

    fn renamed(mut self, name: &str, heading: &str) -> Table {
        let at = self.at(name);
        self.header[at] = heading.to_owned();
        self
    }

    fn with(mut self, heading: &str, text: &str) -> Table {
        self.header.push(heading.to_owned());
        for row in &mut self.rows {
            row.push(text.to_owned());
        }
        self
    }

    fn saved(&self, workspace: &TestWorkspace, name: &str) -> PathBuf {
        let mut writer = csv::Writer::from_writer(Vec::new());
        for row in std::iter::once(&self.header).chain(&self.rows) {
            writer.write_record(row).expect("a row");
        }
        workspace.write(name, writer.into_inner().expect("a table"))
    }
}

/// A workspace with two held visits of four heads each, and the sheet of the second with its cells corrected: a crop stage
/// and an area that the rules held.
fn sent_out() -> (TestWorkspace, Table) {
    let workspace = TestWorkspace::of_region("us:46");
    let wide = workspace.write("wide.csv", wide());
    load_mapped(&workspace, &wide, WIDE);
    assert_eq!(open(&workspace), 2);
    let table = sheet_of(&workspace, "desk", "obs-9004");
    let table = table.put(0, "crop_stage", "R3").put(0, "area_ha", "101.5");
    assert_eq!(table.rows.len(), 4, "two heads at each of two sites");
    (workspace, table)
}

fn sheet_of(workspace: &TestWorkspace, folder: &str, scout: &str) -> Table {
    let files = export(workspace, "csv", folder, ".visits.csv");
    let file = files.iter().find(|file| text_of(file).contains(scout));
    Table::read(file.expect("a file of the scout"))
}

fn taken(workspace: &TestWorkspace, table: &Table, name: &str) -> Value {
    load(workspace, &[table.saved(workspace, name)])
}

/// The one finding of what is held in the place of the record.
fn finding(workspace: &TestWorkspace) -> Value {
    let held = all(workspace);
    let record = held
        .iter()
        .find(|record| record["observer_id"] == "obs-9004");
    record.expect("it is held")["findings"][0].clone()
}

fn refused(workspace: &TestWorkspace, table: &Table) -> Run {
    let file = table.saved(workspace, "refused.csv");
    workspace.run(&["load", &text_of(&file)]).expect_code(1)
}

#[test]
fn a_corrected_sheet_is_accepted() {
    let (workspace, table) = sent_out();
    let account = taken(&workspace, &table, "back.csv");
    assert_eq!(counts(&account), received(1).accepted(1), "{account:#}");
    assert_eq!((&account["closed"], open(&workspace)), (&json!(1), 1));
}

#[test]
fn a_row_taken_out_or_added_holds_the_visit_until_its_sender_says_how_many_heads_it_has() {
    let (_, whole) = sent_out();
    let mut added = whole.clone();
    added.rows.push(whole.rows[3].clone());
    let cleared = (1..=6).fold(whole.clone(), |table, bract| {
        table.put(3, &format!("count_{bract}"), "")
    });
    let cases = [
        (
            whole.clone().without_row(3),
            "3 heads (site 1: 2, site 2: 1)",
        ),
        (cleared, "3 heads (site 1: 2, site 2: 1)"),
        (
            whole.clone().without_row(3).without_row(2),
            "2 heads (site 1: 2)",
        ),
        (added.put(4, "unit", "3"), "5 heads (site 1: 2, site 2: 3)"),
    ];
    for (table, words) in cases {
        let (workspace, _) = sent_out();
        let account = taken(&workspace, &table, "back.csv");
        assert_eq!(
            counts(&account),
            received(1).held(1),
            "{words}: {account:#}"
        );
        assert_eq!(open(&workspace), 2, "it takes the place of the first");
        let finding = finding(&workspace);
        assert_eq!(finding["code"], "units-changed");
        let found = finding["found"].as_str().expect("a text");
        assert!(found.contains(words), "{words} in {found}");
        assert!(found.contains("held_units says 4"), "{found}");
        let heads = words.split(' ').next().expect("a number");
        let said = table.clone().put(0, "held_units", heads);
        let account = taken(&workspace, &said, "said.csv");
        assert_eq!(
            counts(&account),
            received(1).accepted(1),
            "{words}: {account:#}"
        );
        assert_eq!(open(&workspace), 1);
    }
}

#[test]
fn what_goes_out_again_asks_for_the_number_and_stays_held_as_it_is() {
    let (workspace, table) = sent_out();
    taken(&workspace, &table.without_row(3), "back.csv");
    let again = sheet_of(&workspace, "again", "obs-9004");
    assert_eq!(again.rows[0][again.at("held_units")], "");
    let account = taken(&workspace, &again, "as it went.csv");
    assert_eq!(counts(&account), received(1).held(1));
    assert_eq!(open(&workspace), 2);
    let account = taken(&workspace, &again.put(0, "held_units", "3"), "said.csv");
    assert_eq!(counts(&account), received(1).accepted(1), "{account:#}");
    assert_eq!(open(&workspace), 1);
}

#[test]
fn without_the_column_of_the_number_the_store_says_how_many_were_sent_out() {
    let (workspace, table) = sent_out();
    let table = table.without(&["held_units"]);
    let account = taken(&workspace, &table.clone().without_row(3), "back.csv");
    assert_eq!(counts(&account), received(1).held(1));
    let found = finding(&workspace)["found"].to_string();
    assert!(
        found.contains("it was sent out with 4 heads (site 1: 2, site 2: 2)"),
        "{found}"
    );
    let (workspace, _) = sent_out();
    let account = taken(&workspace, &table, "whole.csv");
    assert_eq!(counts(&account), received(1).accepted(1));
}

#[test]
fn a_sheet_without_its_ids_still_corrects_the_record_that_it_was_sent_for() {
    let recipe = "held_visit_id_from";
    for lost in [
        &["held_id"][..],
        &["held_id", recipe],
        &["held_id", "held_file", "held_place"],
        &[
            "held_id",
            recipe,
            "held_units",
            "held_as_sent",
            "held_problem",
            "held_expected",
        ],
        &["held_id", "held_file", "held_place", "held_as_sent"],
    ] {
        let (workspace, table) = sent_out();
        let wrong = table.clone().put(0, "crop_stage", "R78").without(lost);
        let account = taken(&workspace, &wrong, "wrong.csv");
        assert_eq!(counts(&account), received(1).held(1), "{lost:?}");
        assert_eq!(
            open(&workspace),
            2,
            "{lost:?}: no second record next to the first"
        );
        let account = taken(&workspace, &table.without(lost), "back.csv");
        assert_eq!(
            counts(&account),
            received(1).accepted(1),
            "{lost:?}: {account:#}"
        );
        assert_eq!(open(&workspace), 1, "{lost:?}");
        let ids = workspace
            .run(&["sql", "select visit_id from visits"])
            .stdout;
        assert!(!ids.contains("to be made"), "{ids}");
    }
}

#[test]
fn a_lost_column_refuses_the_sheet_and_one_of_ones_own_is_named_and_not_read() {
    let (workspace, table) = sent_out();
    for (changed, names) in [
        (
            table.clone().renamed("lon", "longitude"),
            ["\"lon\"", "\"longitude\""],
        ),
        (
            table.clone().without(&["side"]),
            ["\"side\"", "held export"],
        ),
        (
            table.clone().without(&["count_6"]),
            ["\"count_6\"", "held export"],
        ),
    ] {
        let run = refused(&workspace, &changed);
        for name in names {
            assert!(run.stderr.contains(name), "{name} in {}", run.stderr);
        }
    }
    assert_eq!(open(&workspace), 2);
    let account = taken(
        &workspace,
        &table.with("checked by", "the office"),
        "own.csv",
    );
    assert_eq!(counts(&account), received(1).accepted(1), "{account:#}");
    assert_eq!(
        account["submissions"][0]["columns_not_read"][0]["heading"],
        "checked by"
    );
}

#[test]
fn a_record_in_a_cell_finds_its_way_without_its_id_and_needs_its_own_column() {
    let workspace = TestWorkspace::of_region("us:46");
    let mut wrong = full_visit("a");
    wrong["crop_stage"] = json!("R77");
    workspace.load_text("app.ndjson", &lines(&[wrong]));
    let files = export(&workspace, "csv", "desk", ".csv");
    let table = Table::read(&files[0]);
    let text = table.rows[0][table.at("record_corrected")].clone();
    let nameless = table.without(&["held_id"]);
    let run = refused(
        &workspace,
        &nameless.clone().renamed("record_corrected", "fixed"),
    );
    for words in ["\"record_corrected\"", "\"fixed\"", "help:"] {
        assert!(run.stderr.contains(words), "{words} in {}", run.stderr);
    }
    let still_wrong = nameless
        .clone()
        .put(0, "record_corrected", &text.replace("R77", "R78"));
    let account = taken(&workspace, &still_wrong, "wrong.csv");
    assert_eq!(
        (counts(&account), open(&workspace)),
        (received(1).held(1), 1)
    );
    let right = nameless.put(0, "record_corrected", &text.replace("R77", "R3"));
    let account = taken(&workspace, &right, "right.csv");
    assert_eq!(
        (counts(&account), open(&workspace)),
        (received(1).accepted(1), 0)
    );
    workspace.run(&["store", "verify"]).expect_code(0);
}
