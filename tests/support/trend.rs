//! Invented seasons with a known trend, and `trend` run on them.

use std::collections::BTreeMap;

use jiff::ToSpan;
use jiff::civil::date;
use scouting::region::Region;
use serde_json::{Value, json};

use crate::support::issuing::{COUNTIES, visits};
use crate::support::{TestWorkspace, folder_bytes, lines, text_of};

/// One of few fields, so that all its weeks are withheld.
pub const SMALL_COUNTY: &str = "46099";

/// The line of files that are based on rows that are not public.
pub const PRIVATE: &str = "Private: based on rows that are not public yet.";

/// Two weeks of July. In none of these seasons is the day after in another week.
pub const DAYS: [&str; 2] = ["07-15", "07-22"];

/// Eggs of a season's fields, none in the first. With a treatment that costs $32 an acre, so a threshold of 12.8 eggs, the
/// median of five fields rises from 0 to 1.8: a class every season, since six seasons are a trend only if each is higher.
pub const EGGS: [Option<usize>; 6] = [None, Some(0), Some(3), Some(6), Some(13), Some(20)];

/// Visits of six seasons whose counts rise from season to season.
pub fn rising(county: &str, fields: usize, days: [&str; 2]) -> String {
    let region = Region::built_in("us:46").expect("South Dakota");
    let mut all = Vec::new();
    for (season, eggs) in (2021..=2026).zip(EGGS) {
        for day in days {
            let day = format!("{season}-{day}");
            let mut of_day = visits(&region, county, fields, &day, eggs.unwrap_or_default());
            if eggs.is_none() {
                for visit in &mut of_day {
                    let heads = vec![vec![0; 6]; 5];
                    let sites = (1..=4).map(|site| json!({ "site": site, "heads": heads }));
                    visit["sites"] = sites.collect();
                }
            }
            all.extend(of_day);
        }
    }
    for visit in &mut all {
        visit["economics"]["treatment_cost"]["amount"] = 32.into();
    }
    lines(&all)
}

/// Three counties with enough fields for a class of the median in twelve weeks of six seasons, and one that is withheld.
pub fn six_seasons() -> TestWorkspace {
    let workspace = TestWorkspace::of_region("us:46");
    for county in COUNTIES {
        workspace.load_text(&format!("{county}.ndjson"), &rising(county, 5, DAYS));
    }
    workspace.load_text("small.ndjson", &rising(SMALL_COUNTY, 1, DAYS));
    workspace
}

/// Runs the command; what it says, and the files of its private folder.
pub fn trend(workspace: &TestWorkspace, name: &str) -> (Value, BTreeMap<String, Vec<u8>>) {
    let out = workspace.beside(name);
    let run = workspace.run(&["trend", "--out", &text_of(&out), "--format", "json"]);
    let said = run.expect_code(0).json();
    for kind in ["public", "private"] {
        let listed = said[kind].as_array().expect("files");
        assert_eq!(listed.len(), files_of(workspace, name, kind).len());
    }
    (said, files_of(workspace, name, "private"))
}

/// The files of one of its folders.
pub fn files_of(workspace: &TestWorkspace, name: &str, kind: &str) -> BTreeMap<String, Vec<u8>> {
    let mut files = folder_bytes(&workspace.beside(name).join(kind));
    // The page names the version of the store, which every load raises.
    let page = text(&files, "trend.html");
    let (page, version) = page.split_once("store version ").expect("a version");
    let rest = version.trim_start_matches(|c: char| c.is_ascii_digit());
    files.insert("trend.html".into(), format!("{page}{rest}").into_bytes());
    files
}

pub fn text(files: &BTreeMap<String, Vec<u8>>, name: &str) -> String {
    String::from_utf8(files[name].clone()).expect("UTF-8")
}

/// Publishes every week of the store.
pub fn publish_all(workspace: &TestWorkspace, name: &str) {
    let out = text_of(&workspace.beside(name));
    workspace
        .run(&["export", "--level", "public", "--out", &out])
        .expect_code(0);
}

/// Invented temperatures of every day of these years, but for some days of May 2022 that are missing.
pub fn weather(years: std::ops::RangeInclusive<i16>) -> String {
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

/// Puts a weather file into the workspace and names it in the settings; its path.
pub fn with_weather(workspace: &TestWorkspace, text: &str) -> String {
    let file = workspace.path().join("weather.csv");
    std::fs::write(&file, text).expect("a weather file");
    let path = workspace.path().join("bractline.toml");
    let settings = std::fs::read_to_string(&path).expect("settings");
    let named = settings.replace("# file = \"weather.csv\"", "file = \"weather.csv\"");
    assert_ne!(named, settings);
    std::fs::write(&path, named).expect("settings");
    text_of(&file)
}

/// Holds two folders to be the same but for the notice that the first is private, and for empty lines around it.
#[track_caller]
pub fn assert_same_but_for_the_notice(
    private: &BTreeMap<String, Vec<u8>>,
    public: &BTreeMap<String, Vec<u8>>,
) {
    let aside = format!("<aside class=\"invented\" aria-label=\"Private\">{PRIVATE}</aside>");
    for (name, bytes) in private {
        if !["trend.html", "TREND_COLUMNS.md"].contains(&name.as_str()) {
            assert!(*bytes == public[name], "{name}");
            continue;
        }
        let marked = text(private, name);
        let plain = marked
            .replace(&format!("**{PRIVATE}**"), "")
            .replace(&aside, "")
            .replace("<title>Private: ", "<title>");
        assert_ne!(marked, plain, "{name} has no notice");
        let public = text(public, name);
        let lines = |text: &'_ str| -> Vec<String> {
            let lines = text.lines().filter(|line| !line.is_empty());
            lines.map(str::to_owned).collect()
        };
        assert_eq!(lines(&plain), lines(&public), "{name}");
    }
    assert_eq!(private.len(), public.len());
}
