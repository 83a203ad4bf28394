//! Command trend: its tables recomputed from county_week.csv by other people's statistics, what it says where
//! the data cannot bear a trend, and that nothing of what is withheld can be read in it.

use std::collections::BTreeMap;

use bractline::region::Region;
use bractline::sample::{Landscape, SampleLines, SampleOptions};
use serde_json::Value;

use crate::generated::{load, submissions, text_of};
use crate::issuing::{COUNTIES, visits};
use crate::look::{assert_good, glance_at};
use crate::support::{TestWorkspace, folder_bytes, lines, python};

/// One of few fields, so that all its weeks are withheld.
const SMALL_COUNTY: &str = "46099";
/// Two weeks of July. In none of these seasons is the day after in another week.
const DAYS: [&str; 2] = ["07-15", "07-22"];
const NEXT_DAYS: [&str; 2] = ["07-16", "07-23"];

/// Visits of six seasons whose counts rise by a steady step.
fn rising(county: &str, fields: usize, days: [&str; 2]) -> String {
    let region = Region::built_in("us:46").expect("South Dakota");
    let mut all = Vec::new();
    for (step, season) in (2021..=2026).enumerate() {
        for day in days {
            let day = format!("{season}-{day}");
            all.extend(visits(&region, county, fields, &day, step));
        }
    }
    lines(&all)
}

/// Three counties that are shown in six seasons, and one that never is.
fn six_seasons() -> TestWorkspace {
    let workspace = TestWorkspace::of_region("us:46");
    for county in COUNTIES {
        workspace.load_text(&format!("{county}.ndjson"), &rising(county, 4, DAYS));
    }
    workspace.load_text("small.ndjson", &rising(SMALL_COUNTY, 1, DAYS));
    workspace
}

/// Seven seasons of the invented region: counties with gaps, many withheld.
fn invented(seasons: Vec<i32>) -> TestWorkspace {
    let workspace = TestWorkspace::of_invented_region();
    let options = SampleOptions {
        seasons,
        ..SampleOptions::default()
    };
    let shapes = Landscape::draw(options.seed).shapes();
    let lines: Vec<_> = SampleLines::new(&shapes, &options)
        .expect("counties")
        .collect();
    load(&workspace, &submissions(&workspace, "visits", &lines, 1));
    workspace
}

fn trend(workspace: &TestWorkspace, name: &str) -> (Value, BTreeMap<String, Vec<u8>>) {
    let out = workspace.beside(name);
    let run = workspace.run(&["trend", "--out", &text_of(&out), "--format", "json"]);
    let mut files = folder_bytes(&out);
    // The page names the version of the store, which every load raises.
    let page = String::from_utf8(files["trend.html"].clone()).expect("UTF-8");
    let (page, version) = page.split_once("store version ").expect("a version");
    let rest = version.trim_start_matches(|c: char| c.is_ascii_digit());
    files.insert("trend.html".into(), format!("{page}{rest}").into_bytes());
    (run.expect_code(0).json(), files)
}

/// What an independent program finds different, and what it looked at.
fn compared(workspace: &TestWorkspace) -> Value {
    let rollup = text_of(&workspace.beside("figures"));
    workspace.run(&["rollup", "--out", &rollup]).expect_code(0);
    let (said, _) = trend(workspace, "seasons");
    let seasons = text_of(&workspace.beside("seasons"));
    let told = python("tests/reference/trend.py", &[&rollup, &seasons]);
    let told: Value = serde_json::from_str(&told).expect("JSON from a program of ours");
    assert_eq!(told["differences"], serde_json::json!([]), "{told:#}");
    assert_eq!(told["verdicts"], said["verdicts"]);
    told
}

#[test]
fn every_figure_of_invented_seasons_is_that_of_other_programs() {
    let told = compared(&invented((2020..=2026).collect()));
    assert!(told["cells"].as_u64() > Some(1_000), "{told:#}");
    assert!(told["verdicts"]["not-told"].as_u64() > Some(10), "{told:#}");
}

#[test]
fn a_steady_rise_is_told_with_its_figures() {
    let workspace = six_seasons();
    let told = compared(&workspace);
    assert!(told["verdicts"]["rises"].as_u64() >= Some(4), "{told:#}");
    assert_eq!(told["verdicts"]["falls"], Value::Null);
    let out = text_of(&workspace.beside("said"));
    let said = workspace.run(&["trend", "--out", &out]).expect_code(0);
    let rise = format!("{} rise and 0 fall", told["verdicts"]["rises"]);
    assert!(said.stdout.contains(&rise), "{said:#?}");
}

#[test]
fn three_seasons_cannot_bear_a_trend_and_it_says_so() {
    let workspace = invented(vec![2024, 2025, 2026]);
    let (said, files) = trend(&workspace, "seasons");
    assert_eq!(said["enough_seasons"], false);
    let words = said["verdicts"].as_object().expect("verdicts");
    assert_eq!(words.keys().collect::<Vec<_>>(), ["too-few-seasons"]);
    let table = String::from_utf8(files["trend.csv"].clone()).expect("UTF-8");
    for row in table.lines().skip(1) {
        assert!(row.contains(",too-few-seasons,"), "{row}");
    }
    let out = text_of(&workspace.beside("said"));
    let said = workspace.run(&["trend", "--out", &out]).expect_code(0);
    assert!(
        said.stdout.contains("the data cannot bear a trend"),
        "{said:#?}"
    );
    let columns = String::from_utf8(files["TREND_COLUMNS.md"].clone()).expect("UTF-8");
    assert!(columns.contains("nvented") && columns.contains("label"));
    let page = String::from_utf8(files["trend.html"].clone()).expect("UTF-8");
    for said in [
        "Too few seasons to speak of a trend.",
        "follow the product's label",
        "nvented",
    ] {
        assert!(
            page.contains(said) || page.contains(&said.replace('\'', "&#39;")),
            "{said}"
        );
    }
    assert_good(&glance_at(
        &workspace.beside("seasons").join("trend.html"),
        "trend",
    ));
}

/// More visits to a county whose weeks stay withheld, with ten times the eggs: not a byte moves. One more
/// field makes a week shown, and then bytes do.
#[test]
fn nothing_of_what_is_withheld_moves_a_byte() {
    let workspace = six_seasons();
    let (_, before) = trend(&workspace, "before");
    let region = Region::built_in("us:46").expect("South Dakota");
    let more: Vec<Value> = ["2025-07-15", "2025-07-16"]
        .into_iter()
        .flat_map(|day| visits(&region, SMALL_COUNTY, 2, day, 40))
        .filter(|visit| visit["visit_id"] != "visit-46099-0-2025-07-15")
        .collect();
    assert_eq!(more.len(), 3);
    let account = workspace.load_text("more.ndjson", &lines(&more));
    assert_eq!(account["accepted"], more.len(), "{account:#}");
    let (_, after) = trend(&workspace, "after");
    assert!(before == after, "what is withheld can be read");

    let shown = visits(&region, SMALL_COUNTY, 3, "2025-07-17", 40);
    workspace.load_text("shown.ndjson", &lines(&shown));
    let (_, shown) = trend(&workspace, "shown");
    for name in ["county_season.csv", "trend.csv", "trend.html"] {
        assert_ne!(before[name], shown[name], "{name}: nothing is proved");
    }
}

/// Every field of a season counted twice a week: the season is what it was.
#[test]
fn twice_the_visits_are_not_twice_the_pest() {
    let workspace = six_seasons();
    let (_, once) = trend(&workspace, "once");
    for county in COUNTIES {
        let again = rising(county, 4, NEXT_DAYS);
        workspace.load_text(&format!("again-{county}.ndjson"), &again);
    }
    let (_, twice) = trend(&workspace, "twice");
    assert!(once == twice);
}
