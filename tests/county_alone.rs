//! A field of which only the county is known: its visit counts in the county, and has no point in any file.

use serde_json::{Value, json};

use crate::support::{TestWorkspace, full_visit, lines};

/// A visit of a field in a county, without a point.
fn by_county(visit_id: &str, county: &str) -> Value {
    let mut visit = full_visit(visit_id);
    visit["field"] = json!({"field_id": format!("F-{visit_id}"), "area_ha": 62.4, "crop_type": "oilseed", "county_id": county});
    visit
}

#[test]
fn a_field_without_a_point_counts_in_its_county_and_nowhere_a_point_is_needed() {
    let workspace = TestWorkspace::of_region("us:46");
    // Both are in Lyman County, one by its id and one by its name, and one has its point there.
    let records = [
        by_county("a", "46085"),
        by_county("b", "LYMAN"),
        full_visit("c"),
    ];
    let account = workspace.load_text("one.ndjson", &lines(&records));
    assert_eq!(account["accepted"], 3, "{account:#}");
    let flags = &account["submissions"][0]["flags"];
    // Two fields of one county are nowhere "the same field twice".
    assert_eq!(flags["field-twice"], Value::Null, "{account:#}");
    assert_eq!(flags["point-unknown"], 2, "{account:#}");
    let query = "select field_id, county_id, lon, lat from field_week order by field_id";
    let rows = workspace.run(&["sql", "--format", "json", query]);
    assert_eq!(
        rows.json(),
        json!([
            {"field_id": "F-000123", "county_id": "46085", "lon": -100.12345, "lat": 44.12345},
            {"field_id": "F-a", "county_id": "46085", "lon": null, "lat": null},
            {"field_id": "F-b", "county_id": "46085", "lon": null, "lat": null},
        ])
    );
    let shown = workspace.run(&["visit", "show", "a"]).expect_code(0);
    assert!(!shown.stdout.contains("/field/lon"), "{}", shown.stdout);
    // The same again is a duplicate, as it is stored.
    let again = workspace.load_text("two.ndjson", &lines(&records));
    assert_eq!(again["duplicate"], 3, "{again:#}");
}

#[test]
fn a_package_of_fields_without_points_names_no_point() {
    let workspace = TestWorkspace::of_region("us:46");
    workspace.load_text(
        "one.ndjson",
        &lines(&[by_county("a", "46085"), full_visit("c")]),
    );
    let out = workspace.beside("full").display().to_string();
    workspace
        .run(&["export", "--level", "full", "--private", "--out", &out])
        .expect_code(0);
    let visits =
        std::fs::read_to_string(workspace.beside("full").join("visit.csv")).expect("the table");
    let row = visits
        .lines()
        .find(|line| line.contains("F-a"))
        .expect("the visit");
    assert!(row.contains("46085") && !row.contains("-100."), "{row}");
}
