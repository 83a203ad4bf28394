//! What is public of which fields, judged on finished files: who is withheld, what changes between alerts, what an
//! alert of one protocol says of others, and what is left of one that was withdrawn.

mod editions;
mod settings;
mod treated;
mod withheld;

use std::collections::BTreeMap;

use geo::InteriorPoint;
use scouting::region::Region;
use serde_json::{Value, json};

use crate::support::{Row, TestWorkspace, csv_rows, folder_bytes, full_visit, lines};

const WEEK: &str = "2026-W30";

const DAY: &str = "2026-07-21";

/// Counties of South Dakota.
const BROWN: &str = "46013";

/// A visit of a field in a county; its mean is `eggs` in each head.
fn field(county: &str, name: &str, farm: Option<&str>, eggs: usize) -> Value {
    let region = Region::built_in("us:46").expect("South Dakota");
    let county = region.county(county).expect("a county");
    let (lon, lat) = county.shape.interior_point().expect("an inside").x_y();
    let mut visit = full_visit(&format!("visit-{name}"));
    visit["observed_on"] = DAY.into();
    visit["submitted_at"] = format!("{DAY}T18:00:00Z").into();
    visit["field"]["field_id"] = format!("FIELD-{name}").into();
    visit["field"]["lon"] = (lon + 0.000_371).into();
    visit["field"]["lat"] = (lat + 0.000_119).into();
    if let Some(farm) = farm {
        visit["field"]["farm_id"] = farm.into();
    }
    let heads = vec![vec![eggs, 0, 0, 0, 0, 0]; 5];
    let sites = (1..=4).map(|site| json!({ "site": site, "heads": heads }));
    visit["sites"] = sites.collect();
    visit
}

/// So many fields of a county, each of a farm of its own.
fn fields(county: &str, numbers: std::ops::Range<usize>, eggs: usize) -> Vec<Value> {
    let one = |number| {
        let name = format!("{county}-{number}");
        field(county, &name, Some(&format!("farm-{name}")), eggs)
    };
    numbers.map(one).collect()
}

fn workspace_of(visits: &[Value]) -> TestWorkspace {
    let workspace = TestWorkspace::of_region("us:46");
    load(&workspace, "visits.ndjson", visits);
    workspace
}

fn load(workspace: &TestWorkspace, name: &str, visits: &[Value]) {
    let account = workspace.load_text(name, &lines(visits));
    assert_eq!(account["accepted"], visits.len(), "{account:#}");
}

fn issue(workspace: &TestWorkspace, arguments: &[&str]) -> Value {
    let mut all = vec!["alert", "--format", "json"];
    all.extend(arguments);
    workspace.run(&all).expect_code(0).json()
}

fn issue_week(workspace: &TestWorkspace) -> Value {
    issue(workspace, &["--week", WEEK, "--issue"])
}

/// The rows of a CSV file by the text of a column.
fn table(bytes: &[u8], key: &str) -> BTreeMap<String, Row> {
    let rows = csv_rows(bytes).into_iter();
    rows.map(|row| (row[key].clone(), row)).collect()
}

fn issued_files(workspace: &TestWorkspace, number: i64) -> BTreeMap<String, Vec<u8>> {
    folder_bytes(&workspace.path().join(format!("alerts/issued/{number:04}")))
}

/// The counties that the public table of an alert has, with the least and most fields at threshold.
fn counties_of(workspace: &TestWorkspace, number: i64) -> BTreeMap<String, String> {
    let files = issued_files(workspace, number);
    let rows = table(&files["county_week.csv"], "county_id");
    let said = |(county, row): (String, BTreeMap<String, String>)| {
        let of = [
            "at_threshold_min",
            "at_threshold_max",
            "fields_visited",
            "edition",
        ];
        (county, of.map(|name| row[name].clone()).join(" "))
    };
    rows.into_iter().map(said).collect()
}
