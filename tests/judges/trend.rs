//! The trend over seasons against other programs and in a browser.

use bractline::demo::{Landscape, SampleLines, SampleOptions};
use serde_json::Value;

use crate::judge::python;
use crate::look::{assert_good, glance_at};
use crate::support::generated::{load, submissions};
use crate::support::trend::{
    assert_same_but_for_the_notice, files_of, publish_all, six_seasons, text, trend, weather,
    with_weather,
};
use crate::support::{TestWorkspace, text_of};

/// The weeks of these days: the week that all seasons have, and the others.
const WEEKS_29: [&str; 6] = [
    "2021-W29", "2022-W29", "2023-W29", "2024-W29", "2025-W29", "2026-W29",
];

const OTHER_WEEKS: [&str; 6] = [
    "2021-W28", "2022-W28", "2023-W28", "2024-W30", "2025-W30", "2026-W30",
];

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

/// What an independent program makes of the public rows, once every week is public, which the command has to say too.
fn compared(workspace: &TestWorkspace, weather: Option<&str>) -> Value {
    publish_all(workspace, "package");
    let found = recomputed(workspace, "seasons", weather);
    let (said, files) = trend(workspace, "seasons");
    assert_eq!(said["private_county_weeks"], 0, "{said:#}");
    assert!(files == files_of(workspace, "seasons", "public"));
    assert_eq!(found["verdicts"], said["verdicts"]);
    found
}

/// Holds the public tables of `trend` to what an independent program makes of the public table `county_week`; what it
/// looked at.
fn recomputed(workspace: &TestWorkspace, name: &str, weather: Option<&str>) -> Value {
    let rollup = workspace.beside(&format!("{name}-figures"));
    workspace
        .run(&["rollup", "--out", &text_of(&rollup)])
        .expect_code(0);
    trend(workspace, name);
    let folders = [rollup, workspace.beside(name)].map(|folder| text_of(&folder.join("public")));
    let folders = folders.iter().map(String::as_str);
    let arguments: Vec<&str> = folders.chain(weather).collect();
    let written = python("tests/reference/trend.py", &arguments);
    let found: Value = serde_json::from_str(&written).expect("JSON from a program of ours");
    assert_eq!(found["differences"], serde_json::json!([]), "{found:#}");
    found
}

#[test]
fn every_figure_of_invented_seasons_is_that_of_other_programs() {
    let workspace = invented((2020..=2026).collect());
    let file = with_weather(&workspace, &weather(2020..=2026));
    let found = compared(&workspace, Some(&file));
    assert!(found["cells"].as_u64() > Some(2_000), "{found:#}");
    // Places among earlier seasons by week, and by heat, of which 2022 has none.
    assert!(found["places"][0].as_u64() > Some(30), "{found:#}");
    assert!(found["places"][1].as_u64() > Some(3), "{found:#}");
    let (said, files) = trend(&workspace, "again");
    let heat = said["heat"].as_str().expect("words");
    assert!(heat.contains("summed from January 1"), "{heat}");
    let page = text(&files, "trend.html");
    assert!(
        page.contains(" earlier seasons in week ") && page.contains("degree-days"),
        "no rank is given"
    );
    assert!(
        found["verdicts"]["not-significant"].as_u64() > Some(10),
        "{found:#}"
    );
}

#[test]
fn a_steady_rise_is_found_with_its_figures() {
    let workspace = six_seasons();
    let found = compared(&workspace, None);
    assert!(found["verdicts"]["rises"].as_u64() >= Some(4), "{found:#}");
    assert_eq!(found["verdicts"]["falls"], Value::Null);
    let out = text_of(&workspace.beside("said"));
    let said = workspace.run(&["trend", "--out", &out]).expect_code(0);
    let rise = format!("{} rise and 0 fall", found["verdicts"]["rises"]);
    assert!(said.stdout.contains(&rise), "{said:#?}");
}

#[test]
fn three_seasons_are_too_few_for_a_trend_and_it_says_so() {
    let workspace = invented(vec![2024, 2025, 2026]);
    let (said, files) = trend(&workspace, "seasons");
    assert_eq!(said["enough_seasons"], false);
    let said_heat = said["heat"].clone();
    let words = said["verdicts"].as_object().expect("verdicts");
    assert_eq!(words.keys().collect::<Vec<_>>(), ["too-few-seasons"]);
    let table = text(&files, "trend.csv");
    for row in table.lines().skip(1) {
        assert!(row.contains(",too-few-seasons,"), "{row}");
    }
    let out = text_of(&workspace.beside("said"));
    let said = workspace.run(&["trend", "--out", &out]).expect_code(0);
    assert!(
        said.stdout
            .contains("too few seasons to test for a trend: it takes 5"),
        "{said:#?}"
    );
    // Without temperatures nothing is said of heat but that there is none.
    assert_eq!(
        said_heat,
        "Degree-days are empty: the workspace has no temperatures ([weather] file)."
    );
    let heat = text(&files, "county_season_heat.csv");
    assert!(heat.lines().count() > 10);
    assert!(
        heat.lines()
            .skip(1)
            .all(|row| row.trim_end().ends_with(",,,,,,,")),
        "{heat}"
    );
    assert!(!table.contains("_heat"));
    let columns = text(&files, "TREND_COLUMNS.md");
    assert!(columns.contains("nvented") && columns.contains("label"));
    let page = text(&files, "trend.html");
    for said in [
        "Too few seasons to test for a trend: it takes 5.",
        "follow the product's label",
        "nvented",
    ] {
        assert!(
            page.contains(said) || page.contains(&said.replace('\'', "&#39;")),
            "{said}"
        );
    }
    for kind in ["private", "public"] {
        let page = workspace.beside("seasons").join(kind).join("trend.html");
        assert_good(&glance_at(&page, &format!("trend-{kind}")));
    }
}

#[test]
fn issued_weeks_alone_are_compared_in_public() {
    let workspace = six_seasons();
    let (_, private) = trend(&workspace, "before");
    let issue = |weeks: [&str; 6]| {
        for week in weeks {
            workspace
                .run(&["alert", "--week", week, "--issue"])
                .expect_code(0);
        }
    };
    issue(WEEKS_29);
    let found = recomputed(&workspace, "half", None);
    // A row a season of the region and of three counties.
    assert_eq!(found["seasons"], 24, "{found:#}");
    let half = files_of(&workspace, "half", "public");
    let weeks = text(&half, "season_week.csv");
    assert!(WEEKS_29.iter().all(|week| weeks.contains(week)), "{weeks}");
    assert!(
        !OTHER_WEEKS.iter().any(|week| weeks.contains(week)),
        "{weeks}"
    );
    issue(OTHER_WEEKS);
    let (said, after) = trend(&workspace, "after");
    assert_eq!(said["private_county_weeks"], 0);
    assert!(after == files_of(&workspace, "after", "public"));
    assert_same_but_for_the_notice(&private, &after);
}
