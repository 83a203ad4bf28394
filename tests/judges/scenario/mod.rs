//! Roll-ups under other economics, each field against an independent computation.

mod figures;
mod outputs;

use std::collections::BTreeMap;
use std::path::Path;

use serde_json::Value;

use crate::judge::python;
use crate::support::{Row, TestWorkspace, csv_rows, text_of};

const WEEK: &str = "2026-W30";

/// What a scenario came to: the report, the county-weeks as texts and the field-weeks as values.
struct ScenarioReport {
    said: Value,
    counties: Vec<Row>,
    fields: Vec<Value>,
}

fn scenario(workspace: &TestWorkspace, name: &str, with: &str) -> ScenarioReport {
    let out = text_of(&workspace.beside(name));
    let run = [
        "rollup", "--with", with, "--week", WEEK, "--out", &out, "--format", "json",
    ];
    let said = workspace.run(&run).expect_code(0).json();
    let fields = format!("{out}/scenario_field_week.parquet");
    let fields = python("tests/reference/field_figures.py", &["rows", &fields]);
    ScenarioReport {
        said,
        counties: rows_of(&workspace.beside(name).join("scenario_county_week.csv")),
        fields: serde_json::from_str(&fields).expect("JSON"),
    }
}

fn rows_of(path: &Path) -> Vec<Row> {
    csv_rows(&std::fs::read(path).expect("a table"))
}

fn cell(row: &BTreeMap<String, String>, name: &str) -> f64 {
    row[name]
        .parse()
        .unwrap_or_else(|_| panic!("{name} of {row:#?}"))
}
