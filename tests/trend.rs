//! Command trend: its tables recomputed from the public county_week.csv by other people's statistics, what it says
//! where there are too few seasons, that its public files rest on public rows alone, and that nothing of what is withheld
//! changes a byte of it.

use std::collections::BTreeMap;

use bractline::demo::{Landscape, SampleLines, SampleOptions};
use bractline::region::Region;
use jiff::ToSpan;
use jiff::civil::date;
use serde_json::Value;

use crate::generated::{load, submissions, text_of};
use crate::issuing::{COUNTIES, visits};
use crate::look::{assert_good, glance_at};
use crate::support::{TestWorkspace, folder_bytes, lines, python};

/// One of few fields, so that all its weeks are withheld.
const SMALL_COUNTY: &str = "46099";
/// The protocol of these visits.
const PROTOCOL: &str = "bsm-eggs";
/// The line of files that rest on rows that are not public.
const PRIVATE: &str = "Private: rests on rows that are not public yet.";
/// Two weeks of July. In none of these seasons is the day after in another week.
const DAYS: [&str; 2] = ["07-15", "07-22"];
/// The weeks of these days: the week that all seasons have, and the others.
const WEEKS_29: [&str; 6] = [
    "2021-W29", "2022-W29", "2023-W29", "2024-W29", "2025-W29", "2026-W29",
];
const OTHER_WEEKS: [&str; 6] = [
    "2021-W28", "2022-W28", "2023-W28", "2024-W30", "2025-W30", "2026-W30",
];
/// Eggs of a season's fields. With a treatment that costs $32 an acre, so a threshold of 12.8 eggs, the median of five
/// fields rises from 0.23 to 1.8: a class every season, but for two that are both in 0.5 to 1.
const EGGS: [usize; 6] = [0, 3, 6, 9, 13, 20];
const NEXT_DAYS: [&str; 2] = ["07-16", "07-23"];

/// Visits of six seasons whose counts rise from season to season.
fn rising(county: &str, fields: usize, days: [&str; 2]) -> String {
    let region = Region::built_in("us:46").expect("South Dakota");
    let mut all = Vec::new();
    for (season, eggs) in (2021..=2026).zip(EGGS) {
        for day in days {
            let day = format!("{season}-{day}");
            all.extend(visits(&region, county, fields, &day, eggs));
        }
    }
    for visit in &mut all {
        visit["economics"]["treatment_cost"]["amount"] = 32.into();
    }
    lines(&all)
}

/// Three counties with enough fields for a class of the median in twelve weeks of six seasons, and one that is withheld.
fn six_seasons() -> TestWorkspace {
    let workspace = TestWorkspace::of_region("us:46");
    for county in COUNTIES {
        workspace.load_text(&format!("{county}.ndjson"), &rising(county, 5, DAYS));
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

/// Runs the command; what it says, and the files of its private folder.
fn trend(workspace: &TestWorkspace, name: &str) -> (Value, BTreeMap<String, Vec<u8>>) {
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
fn files_of(workspace: &TestWorkspace, name: &str, kind: &str) -> BTreeMap<String, Vec<u8>> {
    let mut files = folder_bytes(&workspace.beside(name).join(kind));
    // The page names the version of the store, which every load raises.
    let page = text(&files, "trend.html");
    let (page, version) = page.split_once("store version ").expect("a version");
    let rest = version.trim_start_matches(|c: char| c.is_ascii_digit());
    files.insert("trend.html".into(), format!("{page}{rest}").into_bytes());
    files
}

fn text(files: &BTreeMap<String, Vec<u8>>, name: &str) -> String {
    String::from_utf8(files[name].clone()).expect("UTF-8")
}

/// Publishes every week of the store.
fn publish_all(workspace: &TestWorkspace, name: &str) {
    let out = text_of(&workspace.beside(name));
    workspace
        .run(&["export", "--level", "public", "--out", &out])
        .expect_code(0);
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

/// Puts a weather file into the workspace and names it in the settings; its path.
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
    assert!(heat.contains("summed from 1 January"), "{heat}");
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
            .contains("too few seasons to test for a trend: it takes 4"),
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
        "Too few seasons to test for a trend.",
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

/// More visits to a county whose weeks stay withheld, with ten times the eggs: not a byte changes. More fields give a
/// week a class of the median, and then bytes do.
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
    let public = |name: &str| files_of(&workspace, name, "public");
    assert!(public("before") == public("after"));

    let shown = visits(&region, SMALL_COUNTY, 5, "2025-07-17", 40);
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
        let folder = workspace.path().join("alerts/2026-W29").join(PROTOCOL);
        ["alert.html", "alert.md"].map(|name| {
            let text = std::fs::read_to_string(folder.join(name)).expect("an alert");
            // An e-mail's lines are broken anywhere, and its marks escaped.
            let words: Vec<&str> = text.split_whitespace().collect();
            words.join(" ").replace('\\', "")
        })
    };
    // Earlier seasons that are not public are not compared with.
    for text in alert() {
        let said =
            "No comparison with earlier seasons in week 29 yet: 4 are needed, none is on file";
        assert!(text.contains(said), "{text}");
    }
    publish_all(&workspace, "package");
    // The counts rise from season to season, and every earlier one has the week.
    let said = "higher than in all 5 earlier seasons in week 29";
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
    // More eggs in a county that stays withheld change nothing but the store's version.
    let region = Region::built_in("us:46").expect("South Dakota");
    let more = visits(&region, SMALL_COUNTY, 2, "2025-07-16", 40);
    workspace.load_text("more.ndjson", &lines(&more));
    for (before, after) in with_heat.iter().zip(alert()) {
        let sentence = |text: &str| {
            let (_, rest) = text.split_once("Pressure (").expect("a sentence");
            rest.split_once("since 1 January")
                .expect("its end")
                .0
                .to_owned()
        };
        assert_eq!(sentence(before), sentence(&after));
    }
}

/// Holds two folders to be the same but for the notice that the first is private, and for empty lines around it.
#[track_caller]
fn assert_same_but_for_the_notice(
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

#[test]
fn what_is_not_public_is_in_the_private_folder_alone() {
    let workspace = six_seasons();
    let (said, private) = trend(&workspace, "before");
    let rows = [&said["public_county_weeks"], &said["private_county_weeks"]];
    assert_eq!(rows, [0, 36]);
    let public = files_of(&workspace, "before", "public");
    assert!(public.keys().eq(private.keys()));
    for (name, bytes) in public.iter().filter(|(name, _)| name.ends_with(".csv")) {
        let lines = std::str::from_utf8(bytes).expect("UTF-8").lines().count();
        assert_eq!(lines, 1, "{name}: only what the columns are");
        assert!(text(&private, name).lines().count() > 1, "{name}");
    }
    for (name, says) in [
        (
            "trend.html",
            "No week has a county with a class of the median that is public.",
        ),
        ("TREND_COLUMNS.md", "# The columns of these files"),
    ] {
        let page = text(&public, name);
        assert!(page.contains(says) && !page.contains("rivate"), "{page}");
        assert!(text(&private, name).contains(PRIVATE), "{name}");
    }
    // A pest is named, as well as a program's word for it.
    assert!(text(&private, "trend.html").contains("<h2>Banded sunflower moth"));
    let out = workspace.beside("text");
    let run = workspace.run(&["trend", "--out", &text_of(&out)]);
    for says in [
        "0 county-weeks are public, 36 not public yet: the tables in the folder public are empty",
        "`bractline alert --week WEEK --issue`",
        "`bractline export --level public --out DIR`",
    ] {
        assert!(run.stdout.contains(says), "{run:#?}");
    }
    #[cfg(unix)]
    for (path, mode) in [("private", 0o700), ("private/trend.csv", 0o600)] {
        use std::os::unix::fs::PermissionsExt;
        let found = std::fs::metadata(out.join(path)).expect("it is written");
        assert_eq!(found.permissions().mode() & 0o777, mode, "{path}");
    }

    // Exported, all of it is public, and nothing is private any more.
    publish_all(&workspace, "package");
    let (said, after) = trend(&workspace, "after");
    let rows = [&said["public_county_weeks"], &said["private_county_weeks"]];
    assert_eq!(rows, [36, 0]);
    assert!(after == files_of(&workspace, "after", "public"));
    assert_same_but_for_the_notice(&private, &after);

    // A week that comes after is the office's until it is published.
    let region = Region::built_in("us:46").expect("South Dakota");
    let later = visits(&region, COUNTIES[0], 5, "2026-07-29", 9);
    workspace.load_text("later.ndjson", &lines(&later));
    let (said, later) = trend(&workspace, "later");
    let rows = [&said["public_county_weeks"], &said["private_county_weeks"]];
    assert_eq!(rows, [36, 1]);
    assert!(after == files_of(&workspace, "later", "public"));
    assert_ne!(after["season_week.csv"], later["season_week.csv"]);
    assert!(text(&later, "trend.html").contains(PRIVATE));
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

/// Every field of a season counted twice a week: the season is what it was.
#[test]
fn twice_the_visits_are_not_twice_the_pest() {
    let workspace = six_seasons();
    let (_, once) = trend(&workspace, "once");
    for county in COUNTIES {
        let again = rising(county, 5, NEXT_DAYS);
        workspace.load_text(&format!("again-{county}.ndjson"), &again);
    }
    let (_, twice) = trend(&workspace, "twice");
    assert!(once == twice);
}
