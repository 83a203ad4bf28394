//! Command trend: its tables recomputed from county_week.csv by other people's statistics, what it says where
//! the data cannot bear a trend, and that nothing of what is withheld can be read in it.

use std::collections::BTreeMap;

use bractline::region::Region;
use bractline::sample::{Landscape, SampleLines, SampleOptions};
use jiff::ToSpan;
use jiff::civil::date;
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

/// Invented temperatures of every day of these years, but for some days of May 2022 that are missing.
fn weather(years: std::ops::RangeInclusive<i16>) -> String {
    let mut text = "date,tmin_c,tmax_c\n".to_owned();
    for year in years {
        let days = date(year, 1, 1)
            .series(1.day())
            .take_while(|day| day.year() == year);
        for (number, day) in days.enumerate() {
            let gap = year == 2022 && day.month() == 5 && (10..=16).contains(&day.day());
            let course = (std::f64::consts::PI * number as f64 / 365.0).sin();
            let strange = (number * 37 % 61) as f64 / 10.0 - 3.0 + f64::from(year % 5) * 0.15;
            let middle = -8.0 + 30.0 * course * course + strange;
            if !gap {
                text += &format!("{day},{:.1},{:.1}\n", middle - 6.0, middle + 6.0);
            }
        }
    }
    text
}

/// Puts a weather file into the workspace and names it in the settings; where it lies.
fn with_weather(workspace: &TestWorkspace, text: &str) -> String {
    let file = workspace.path().join("weather.csv");
    std::fs::write(&file, text).expect("a weather file");
    let path = workspace.path().join("bractline.toml");
    let settings = std::fs::read_to_string(&path).expect("settings");
    let named = settings.replace("# file = \"weather.csv\"", "file = \"weather.csv\"");
    assert_ne!(named, settings);
    std::fs::write(&path, named).expect("settings");
    text_of(&file)
}

/// What an independent program finds different, and what it looked at.
fn compared(workspace: &TestWorkspace, weather: Option<&str>) -> Value {
    let rollup = text_of(&workspace.beside("figures"));
    workspace.run(&["rollup", "--out", &rollup]).expect_code(0);
    let (said, _) = trend(workspace, "seasons");
    let seasons = text_of(&workspace.beside("seasons"));
    let folders = [&*rollup, &*seasons].into_iter();
    let arguments: Vec<&str> = folders.chain(weather).collect();
    let told = python("tests/reference/trend.py", &arguments);
    let told: Value = serde_json::from_str(&told).expect("JSON from a program of ours");
    assert_eq!(told["differences"], serde_json::json!([]), "{told:#}");
    assert_eq!(told["verdicts"], said["verdicts"]);
    told
}

#[test]
fn every_figure_of_invented_seasons_is_that_of_other_programs() {
    let workspace = invented((2020..=2026).collect());
    let file = with_weather(&workspace, &weather(2020..=2026));
    let told = compared(&workspace, Some(&file));
    assert!(told["cells"].as_u64() > Some(2_000), "{told:#}");
    // Places among earlier seasons by week, and by heat, of which 2022 has none.
    assert!(told["places"][0].as_u64() > Some(30), "{told:#}");
    assert!(told["places"][1].as_u64() > Some(3), "{told:#}");
    let (said, files) = trend(&workspace, "again");
    let heat = said["heat"].as_str().expect("words");
    assert!(heat.contains("summed from 1 January"), "{heat}");
    let page = String::from_utf8(files["trend.html"].clone()).expect("UTF-8");
    assert!(
        page.contains("(percentile ") && page.contains("degree-days"),
        "no place is said"
    );
    assert!(told["verdicts"]["not-told"].as_u64() > Some(10), "{told:#}");
}

#[test]
fn a_steady_rise_is_told_with_its_figures() {
    let workspace = six_seasons();
    let told = compared(&workspace, None);
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
    let said_heat = said["heat"].clone();
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
    // Without temperatures nothing is said of heat but that there is none.
    assert_eq!(
        said_heat,
        "Degree-days are empty: the workspace has no temperatures ([weather] file)."
    );
    let heat = String::from_utf8(files["county_season_heat.csv"].clone()).expect("UTF-8");
    assert!(heat.lines().count() > 10);
    assert!(
        heat.lines()
            .skip(1)
            .all(|row| row.trim_end().ends_with(",,,,,,,")),
        "{heat}"
    );
    assert!(!table.contains("_heat"));
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
    for name in [
        "county_season.csv",
        "season_week.csv",
        "trend.csv",
        "trend.html",
    ] {
        assert_ne!(before[name], shown[name], "{name}: nothing is proved");
    }
}

/// The alert says the same as the table, on the page and in the e-mail, and nothing of a county that is withheld.
#[test]
fn an_alert_says_where_its_week_stands_among_earlier_seasons() {
    let workspace = six_seasons();
    let alert = || {
        workspace
            .run(&["alert", "--week", "2026-W29"])
            .expect_code(0);
        let folder = workspace.path().join("alerts/2026-W29");
        ["alert.html", "alert.md"].map(|name| {
            let text = std::fs::read_to_string(folder.join(name)).expect("a bulletin");
            // An e-mail's lines are broken anywhere, and its marks escaped.
            let words: Vec<&str> = text.split_whitespace().collect();
            words.join(" ").replace('\\', "")
        })
    };
    // The counts rise from season to season, and every earlier one has the week.
    let said = "higher than in 5 of 5 earlier seasons in week 29 (percentile 100)";
    for text in alert() {
        assert!(
            text.contains(said) && !text.contains("at the same heat"),
            "{text}"
        );
    }
    with_weather(&workspace, &weather(2021..=2026));
    let with_heat = alert();
    for text in &with_heat {
        assert!(text.contains(said), "{text}");
        // 2022 lacks days of May, and July of 2026 need not lie between the two weeks of each other season.
        assert!(
            text.contains("at the same heat, ") && text.contains("since 1 January"),
            "{text}"
        );
    }
    // More eggs in a county that stays withheld move nothing but the store's version.
    let region = Region::built_in("us:46").expect("South Dakota");
    let more = visits(&region, SMALL_COUNTY, 2, "2025-07-16", 40);
    workspace.load_text("more.ndjson", &lines(&more));
    for (before, after) in with_heat.iter().zip(alert()) {
        let sentence = |text: &str| {
            let (_, rest) = text.split_once("Mean pressure (").expect("a sentence");
            rest.split_once("since 1 January")
                .expect("its end")
                .0
                .to_owned()
        };
        assert_eq!(sentence(before), sentence(&after));
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
