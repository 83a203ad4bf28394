//! An empty store, and weeks that have no visit or do not exist.

use std::path::Path;

use serde_json::Value;

use crate::support::cli::assert_message;
use crate::support::{TestWorkspace, bractline, lines, text_of, visit};

#[test]
fn a_week_that_does_not_exist_is_refused_with_a_clear_text() {
    let workspace = TestWorkspace::of_region("us:46");
    for (week, says) in [
        ("2026-W54", "does not exist: 2026 has no week 54"),
        ("2025-W53", "does not exist: 2025 has no week 53"),
        ("2026-W00", "does not exist: 2026 has no week 0"),
        ("9999-W52", "does not exist"),
        ("2026-30", "is not an ISO week: write it as 2026-W30"),
        ("2026-w30", "write it as 2026-W30"),
        ("2026-W3", "write it as 2026-W30"),
        ("2026-W+3", "write it as 2026-W30"),
        ("+026-W30", "write it as 2026-W30"),
        ("-026-W30", "write it as 2026-W30"),
        ("30", "write it as 2026-W30"),
        ("", "write it as 2026-W30"),
    ] {
        let week = format!("--week={week}");
        for arguments in [vec!["alert", &week], vec!["rollup", &week, "--out", "x"]] {
            let run = workspace.run(&arguments).expect_code(2);
            assert!(run.stderr.contains(says), "{week}: {run:#?}");
        }
    }
}

#[test]
fn an_empty_store_rolls_up_to_empty_files_and_gives_no_alert() {
    let workspace = TestWorkspace::of_region("us:46");
    let out = workspace.beside("figures");
    let run = workspace
        .run(&["rollup", "--out", &text_of(&out)])
        .expect_code(0);
    assert!(run.stdout.contains("rolled up 0 county-weeks"), "{run:#?}");
    let csv = std::fs::read_to_string(out.join("public/county_week.csv")).expect("the table");
    assert_eq!(csv.lines().count(), 1, "a header and no row");
    let geojson = std::fs::read_to_string(out.join("public/county_week.geojson")).expect("the map");
    let geojson: Value = serde_json::from_str(&geojson).expect("JSON");
    assert_eq!(geojson["features"], Value::Array(Vec::new()));

    // A week's map holds every county, also where nobody was.
    let week = workspace.beside("week");
    workspace
        .run(&["rollup", "--week", "2026-W30", "--out", &text_of(&week)])
        .expect_code(0);
    let geojson =
        std::fs::read_to_string(week.join("public/county_week.geojson")).expect("the map");
    let geojson: Value = serde_json::from_str(&geojson).expect("JSON");
    let features = geojson["features"].as_array().expect("features");
    // South Dakota has 66 counties; each appears once under every protocol, since no visit shows which is used.
    let protocols = bractline(&["protocols", "list", "--format", "json"]).json();
    let protocols = protocols["protocols"].as_array().expect("a list").len();
    assert_eq!(features.len(), 66 * protocols);
    assert!(
        features
            .iter()
            .all(|county| county["properties"]["status"] == "no-figures")
    );

    let run = workspace
        .run(&["alert", "--week", "2026-W30"])
        .expect_code(1);
    assert_message(&run, &["no visit in 2026-W30", "no week has visits yet"]);
    assert!(!workspace.path().join("alerts").exists(), "no half output");
}

#[test]
fn an_alert_of_a_week_without_visits_lists_the_weeks_that_have_some() {
    let workspace = TestWorkspace::of_region("us:46");
    let mut later = visit("later");
    later["observed_on"] = "2026-08-04".into();
    later["submitted_at"] = "2026-08-04T18:00:00Z".into();
    workspace.load_text("two.ndjson", &lines(&[visit("one"), later]));
    let run = workspace
        .run(&["alert", "--week", "2026-W31"])
        .expect_code(1);
    assert_message(&run, &["no visit in 2026-W31", "are 2026-W30, 2026-W32"]);
    assert!(!workspace.path().join("alerts").exists(), "no half output");
    let run = workspace
        .run(&["alert", "--week", "2026-W30"])
        .expect_code(0);
    let first = run.stdout.lines().next().unwrap_or_default();
    assert!(
        first.starts_with("draft of 2026-W30, bsm-eggs: "),
        "{run:#?}"
    );
    let page = first.rsplit(": ").next().expect("a path");
    assert!(Path::new(page).is_file(), "{page}");
}
