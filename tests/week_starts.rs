//! Weeks that start on a day of the office's choice, from the load to the package, and what refuses another day.

use scouting::region::Region;
use serde_json::{Value, json};

use crate::support::issuing::{COUNTIES, visits};
use crate::support::{TestWorkspace, csv_rows, folder_bytes, lines, text_of};

const MONDAY: &str = "starts = \"Monday\"";
const THURSDAY: &str = "starts = \"Thursday\"";

/// A workspace of South Dakota whose weeks start on Thursday, with visits of the same fields on these days.
fn on_thursdays(days: &[&str]) -> TestWorkspace {
    let workspace = TestWorkspace::of_region("us:46");
    workspace.change_setting(MONDAY, THURSDAY);
    load_days(&workspace, days);
    workspace
}

fn load_days(workspace: &TestWorkspace, days: &[&str]) {
    let region = Region::built_in("us:46").expect("South Dakota");
    let mut all = Vec::new();
    for (number, day) in days.iter().enumerate() {
        for county in COUNTIES {
            all.extend(visits(&region, county, 5, day, number));
        }
    }
    let name = format!("{}.ndjson", days.join("-"));
    let account = workspace.load_text(&name, &lines(&all));
    assert_eq!(account["accepted"], all.len(), "{account:#}");
}

fn asked(workspace: &TestWorkspace, query: &str) -> Value {
    let run = workspace.run(&["sql", query, "--format", "json"]);
    run.expect_code(0).json()
}

fn issued(workspace: &TestWorkspace, week: &str) -> Value {
    let run = workspace.run(&["alert", "--week", week, "--issue", "--format", "json"]);
    run.expect_code(0).json()
}

fn file(workspace: &TestWorkspace, name: &str) -> String {
    let path = workspace.path().join("alerts/issued/0001").join(name);
    std::fs::read_to_string(path).expect("a file of the alert")
}

/// Wednesday and Thursday are in two weeks, Thursday and the Wednesday after in one. 2026-07-16 is a Thursday.
#[test]
fn an_alert_on_thursday_has_the_whole_week_until_wednesday() {
    let workspace = on_thursdays(&["2026-07-15", "2026-07-16", "2026-07-22", "2026-07-23"]);
    let weeks = asked(
        &workspace,
        "select iso_week, min(observed_on) as first, count(*) as fields from field_week \
         group by iso_week order by iso_week",
    );
    let of_week = |week: &str, day: &str| json!({ "iso_week": week, "first": day, "fields": 15 });
    // A field counts once in a week, with its last visit.
    assert_eq!(
        weeks,
        json!([
            of_week("2026-W28", "2026-07-15"),
            of_week("2026-W29", "2026-07-22"),
            of_week("2026-W30", "2026-07-23")
        ])
    );
    // A day names the week that holds it.
    let alert = issued(&workspace, "2026-07-16");
    assert_eq!(alert["iso_week"], "2026-W29");
    for name in ["alert.html", "alert.md"] {
        let text = file(&workspace, name).replace('\n', " ");
        assert!(
            text.contains("week ending July 22, 2026 (July 16–22)"),
            "{name}"
        );
    }
    let rows = csv_rows(file(&workspace, "county_week.csv").as_bytes());
    assert_eq!(rows.len(), 3);
    for row in &rows {
        assert_eq!(
            [
                &row["iso_week"],
                &row["week_start"],
                &row["week_end"],
                &row["fields_visited"]
            ],
            ["2026-W29", "2026-07-16", "2026-07-22", "5"]
        );
    }
    let map: Value = serde_json::from_str(&file(&workspace, "county_week.geojson")).expect("JSON");
    let counties = map["features"].as_array().expect("features");
    assert_eq!(counties.len(), 66);
    for county in counties {
        let properties = &county["properties"];
        assert_eq!(
            [&properties["start"], &properties["end"]],
            ["2026-07-16", "2026-07-22"]
        );
    }
    let place = text_of(&workspace.beside("public"));
    workspace.run(&["publish", "--to", &place]).expect_code(0);
    for page in ["index.html", "week/2026-W29/index.html"] {
        let page = std::fs::read_to_string(workspace.beside("public").join(page)).expect("a page");
        assert!(page.contains("week ending July 22, 2026"), "{page}");
    }
}

#[test]
fn a_package_says_on_which_day_its_weeks_start() {
    let workspace = on_thursdays(&["2026-07-15", "2026-07-16"]);
    let out = workspace.beside("package");
    let run = workspace.run(&["export", "--out", &text_of(&out)]);
    run.expect_code(0);
    let files = folder_bytes(&out);
    let about: Value = serde_json::from_slice(&files["datapackage.json"]).expect("JSON");
    assert_eq!(about["parameters"]["weekStarts"], "Thursday");
    let dictionary = String::from_utf8_lossy(&files["DICTIONARY.md"]).into_owned();
    assert!(
        dictionary.contains("Weeks start on Thursday."),
        "{dictionary}"
    );
    let weeks: Vec<[String; 2]> = csv_rows(&files["region_week.csv"])
        .iter()
        .map(|row| [row["iso_week"].clone(), row["week_start"].clone()])
        .collect();
    assert_eq!(
        weeks,
        [["2026-W28", "2026-07-09"], ["2026-W29", "2026-07-16"]]
    );
}

#[test]
fn lists_and_letters_go_by_the_same_weeks() {
    let workspace = on_thursdays(&["2026-07-16"]);
    let listed = |week: &str| {
        let run = workspace.run(&["submissions", "list", "--week", week, "--format", "json"]);
        let listed = run.expect_code(0).json();
        listed.as_array().expect("submissions").len()
    };
    assert_eq!(
        ["2026-W29", "2026-07-22", "2026-W30"].map(listed),
        [1, 1, 0]
    );
    let missing = |week: &str| {
        let run = workspace.run(&["senders", "missing", "--week", week, "--format", "json"]);
        let missing = run.expect_code(0).json();
        missing.as_array().expect("senders").len()
    };
    assert_eq!(["2026-W29", "2026-07-23"].map(missing), [0, 15]);
    let shown = workspace.run(&["visit", "show", "visit-46013-0-2026-07-16"]);
    let shown = shown.expect_code(0).stdout;
    assert!(shown.contains("it counts in week 2026-W29"), "{shown}");
}

/// A field of Wednesday would be in two public rows, 2026-W28 by weeks from Thursday and 2026-W29 by ISO weeks.
#[test]
fn a_season_keeps_the_weeks_of_its_first_alert() {
    let workspace = on_thursdays(&["2026-07-15", "2026-07-21"]);
    issued(&workspace, "2026-W28");
    workspace.change_setting(THURSDAY, MONDAY);
    for issue in [&[][..], &["--issue"]] {
        let run = workspace.run(&[&["alert", "--week", "2026-W30"], issue].concat());
        let said = run.expect_code(1).stderr;
        for words in [
            "[week] starts = \"Monday\"",
            "alert 1 of 2026-W28",
            "start on Thursday",
            "help: write starts = \"Thursday\"",
        ] {
            assert!(said.contains(words), "{words}: {said}");
        }
    }
    // What was issued comes out as it was, and no command counts its fields in other weeks.
    let again = workspace.run(&["alert", "--as-issued", "1", "--format", "json"]);
    assert_eq!(again.expect_code(0).json()["same"], true);
    let weeks = asked(
        &workspace,
        "select distinct iso_week from field_week order by iso_week",
    );
    assert_eq!(
        weeks,
        json!([{ "iso_week": "2026-W28" }, { "iso_week": "2026-W29" }])
    );
    let figures = text_of(&workspace.beside("figures"));
    let run = workspace.run(&["rollup", "--out", &figures]).expect_code(0);
    assert!(run.stderr.contains("2026 on Thursday"), "{}", run.stderr);
    workspace.change_setting(MONDAY, THURSDAY);
    issued(&workspace, "2026-W29");
}

#[test]
fn another_season_may_start_its_weeks_on_another_day() {
    let workspace = TestWorkspace::of_region("us:46");
    load_days(&workspace, &["2025-07-16", "2025-07-17"]);
    // Both in the ISO week from July 14 to July 20, 2025.
    issued(&workspace, "2025-W29");
    workspace.change_setting(MONDAY, THURSDAY);
    load_days(&workspace, &["2026-07-15", "2026-07-16"]);
    issued(&workspace, "2026-W28");
    let weeks = asked(
        &workspace,
        "select iso_week, count(*) as fields from field_week group by iso_week order by iso_week",
    );
    assert_eq!(
        weeks,
        json!([
            { "iso_week": "2025-W29", "fields": 15 },
            { "iso_week": "2026-W28", "fields": 15 },
            { "iso_week": "2026-W29", "fields": 15 }
        ])
    );
    let out = workspace.beside("seasons");
    let run = workspace.run(&["trend", "--out", &text_of(&out)]);
    let said = run.expect_code(0).stderr;
    let words = "Weeks start on Monday in 2025 and Thursday in 2026.";
    assert!(said.contains(words), "{said}");
    let page = std::fs::read_to_string(out.join("public/trend.html")).expect("a page");
    assert!(page.contains(words), "{page}");
    // The alert of the season before is corrected by its own weeks.
    workspace.run(&["alert", "--reissue", "1"]).expect_code(0);
}

#[test]
fn a_day_on_which_no_week_starts_is_refused_with_those_that_there_are() {
    let workspace = TestWorkspace::of_region("us:46");
    workspace.change_setting(MONDAY, "starts = \"Thu\"");
    let run = workspace.run(&["alert", "--list"]).expect_code(1);
    assert!(
        run.stderr.contains("\"Thu\"") && run.stderr.contains("Wednesday, Thursday, Friday"),
        "{}",
        run.stderr
    );
}
