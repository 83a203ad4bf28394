//! Treated fields: the office sees them, and nobody else.

use serde_json::{Value, json};

use super::{BROWN, WEEK, fields, issue, issue_week, issued_files, workspace_of};
use crate::support::{folder_bytes, text_of};

/// The fifth of five fields of a county was treated a week before.
fn with_one_treated() -> Vec<Value> {
    let mut visits = fields(BROWN, 0..5, 5);
    visits[4]["treated_on"] = "2026-07-14".into();
    visits[4]["treatment"] = "insecticide".into();
    visits
}

#[test]
fn a_treated_field_is_in_no_public_number() {
    let treated = workspace_of(&with_one_treated());
    let without = workspace_of(&fields(BROWN, 0..4, 5));
    issue_week(&treated);
    issue_week(&without);
    let tables = ["county_week.csv", "region_week.csv", "county_week.geojson"];
    for name in tables {
        let [one, other] = [&treated, &without].map(|workspace| issued_files(workspace, 1));
        assert_eq!(one.get(name), other.get(name), "{name}");
    }
    for (name, bytes) in issued_files(&treated, 1) {
        let text = String::from_utf8_lossy(&bytes);
        assert!(!text.contains("fields_treated"), "{name}");
    }
}

#[test]
fn the_office_sees_how_many_fields_were_treated() {
    let workspace = workspace_of(&with_one_treated());
    let draft = issue(&workspace, &["--week", WEEK]);
    assert_eq!(draft["fields_treated"], 1, "{draft:#}");
    let query = "select fields_visited, fields_treated, fields_outside_stage from county_week_full";
    let rows = workspace.run(&["sql", "--format", "json", query]).json();
    let expected = json!([{"fields_visited": 4, "fields_treated": 1, "fields_outside_stage": 0}]);
    assert_eq!(rows, expected);
    let id = format!("visit-{BROWN}-4");
    let shown = workspace.run(&["visit", "show", &id]).expect_code(0).stdout;
    for said in [
        "flags: after-treatment",
        "/treated_on: 2026-07-14",
        "/treatment: insecticide",
    ] {
        assert!(shown.contains(said), "{said}: {shown}");
    }
}

#[test]
fn a_package_has_a_treatment_at_the_level_full_alone() {
    let workspace = workspace_of(&with_one_treated());
    for (level, visits) in [("full", 5), ("grid", 4)] {
        let out = workspace.beside(level);
        let folder = text_of(&out);
        workspace
            .run(&["export", "--level", level, "--private", "--out", &folder])
            .expect_code(0);
        let files = folder_bytes(&out);
        let table = String::from_utf8_lossy(&files["visit.csv"]).into_owned();
        assert_eq!(table.lines().count(), visits + 1, "{level}: {table}");
        let is_told = table.contains("2026-07-14,insecticide");
        assert_eq!(is_told, level == "full", "{level}: {table}");
    }
}
