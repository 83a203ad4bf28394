//! The alert's page in the hands of a reader: its table against the CSV, sorted from the keyboard, and its
//! units, with scripts and without.

use std::cmp::Ordering;
use std::collections::BTreeMap;
use std::sync::OnceLock;

use serde_json::Value;

use crate::judge::node;
use crate::look::demo_alert;
use crate::support::{Row, csv_rows, text_of};

/// What came of using the demo's page. Several tests read it.
fn report() -> &'static Value {
    static REPORT: OnceLock<Value> = OnceLock::new();
    REPORT.get_or_init(|| {
        let page = text_of(&demo_alert().join("alert.html"));
        let report = node("tests/reference/use_page.mjs", &[&page]);
        serde_json::from_str(&report).expect("JSON")
    })
}

fn list(of: &Value) -> &[Value] {
    of.as_array().map(Vec::as_slice).expect("a list")
}

fn text(of: &Value) -> &str {
    of.as_str().expect("text")
}

// ---- the figures ----

/// The rows of a table of the demo's alert.
fn rows_of(name: &str) -> Vec<Row> {
    csv_rows(&std::fs::read(demo_alert().join(name)).expect("a table"))
}

/// The column of the page's table whose heading begins so.
fn column(table: &Value, begins: &str) -> usize {
    let heads = list(&table["heads"]);
    let found = heads
        .iter()
        .position(|head| text(&head["text"]).starts_with(begins));
    found.unwrap_or_else(|| panic!("no column {begins} in {heads:?}"))
}

/// The first number of a text, and half of the last place that it is given to.
fn number(text: &str) -> Option<(f64, f64)> {
    let from = text.find(|letter: char| letter.is_ascii_digit())?;
    let digits: String = text[from..]
        .chars()
        .take_while(|letter| letter.is_ascii_digit() || *letter == '.')
        .collect();
    let digits = digits.trim_end_matches('.');
    let places = digits.split_once('.').map_or(0, |(_, after)| after.len());
    Some((digits.parse().ok()?, 0.5 * 0.1_f64.powi(places as i32)))
}

/// The fields at threshold of a row of the CSV, as a person would say it.
fn at_threshold(row: &BTreeMap<String, String>) -> String {
    let count = |name: &str| row[name].parse::<u32>().expect("a count");
    let [least, most, all] = ["at_threshold_min", "at_threshold_max", "fields_visited"].map(count);
    match (least, most) {
        (_, 0) => format!("none of {all}"),
        (least, most) if least == most => format!("{least} of {all}"),
        (least, most) if most == all => format!("{least} or more of {all}"),
        (least, most) => format!("{least} to {most} of {all}"),
    }
}

/// The interval of the percent at threshold, in whole percents.
fn percent(row: &BTreeMap<String, String>) -> String {
    let share = |name: &str| row[name].parse::<f64>().expect("a share") * 100.0;
    format!("{:.0}–{:.0}%", share("share_low"), share("share_high"))
}

/// The class of the median in short.
fn median(row: &BTreeMap<String, String>) -> String {
    match row["median_class"].as_str() {
        "" => "–".to_owned(),
        "nothing-found" => "0".to_owned(),
        class => match class.strip_prefix("0-") {
            Some(below) => format!("<{below}"),
            None => class.replace('-', "–"),
        },
    }
}

#[test]
fn the_table_and_its_sums_are_those_of_the_csv() {
    let mut rows = rows_of("county_week.csv");
    let elsewhere = rows_of("elsewhere_week.csv");
    assert!(
        !elsewhere.is_empty(),
        "nothing is proved of the rows elsewhere"
    );
    rows.extend(elsewhere.into_iter().map(|mut row| {
        let place = row["place"].clone();
        row.insert("county_name".to_owned(), place);
        row
    }));
    for view in ["table", "plain"] {
        let table = &report()[view];
        let shown = list(&table["rows"]);
        assert_eq!(shown.len(), rows.len(), "{view}");
        let mut fields = 0;
        for row in &rows {
            let name = &row["county_name"];
            let found = shown.iter().find(|shown| text(&shown["name"]) == name);
            let cells = list(&found.unwrap_or_else(|| panic!("no {name} in {view}"))["cells"]);
            let cell = |heading: &str| {
                cells[column(table, heading)]["text"]
                    .as_str()
                    .unwrap_or_default()
            };
            if row["fields_visited"] == "0" {
                continue;
            }
            assert_eq!(cell("Fields"), row["fields_visited"], "{name}");
            fields += row["fields_visited"].parse::<u32>().expect("a count");
            assert_eq!(cell("At threshold"), at_threshold(row), "{name}");
            assert_eq!(cell("% of fields"), percent(row), "{name}");
            assert_eq!(cell("Median"), median(row), "{name}");
            let outside = match row["fields_outside_stage"].as_str() {
                "" => "–",
                count => count,
            };
            assert_eq!(cell("Wrong stage"), outside, "{name}");
        }
        assert!(fields > 20, "nothing is proved");
    }
    assert_eq!(report()["table"]["rows"], report()["plain"]["rows"]);
}

// ---- sorting ----

/// What a cell is sorted by.
#[derive(Debug, Clone, PartialEq, PartialOrd)]
enum Key {
    Number(f64),
    Text(String),
}

const MONTHS: [&str; 12] = [
    "Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec",
];

/// Of days (`9–26 Aug`) the first; of figures the first; else the words. `None` of a cell without a figure.
fn key(row: &Value, column: usize) -> Option<Key> {
    let cell = &row["cells"][column];
    let shown = cell["text"].as_str()?;
    if cell["spans"] != 1 || shown.is_empty() || shown == "–" {
        return None;
    }
    // What a cell sorts by, where it says so: "none of 5" is less than "1 of 6".
    let value = cell["value"].as_str().and_then(|value| value.parse().ok());
    if let Some(value) = value.filter(|_| column > 0) {
        return Some(Key::Number(value));
    }
    let month = |month: usize| shown.find(MONTHS[month]).map(|place| (place, month));
    let first_month = (0..MONTHS.len()).filter_map(month).min();
    match (first_month, number(shown)) {
        _ if column == 0 => Some(Key::Text(shown.to_lowercase())),
        (Some((_, month)), Some((day, _))) => Some(Key::Number(month as f64 * 100.0 + day)),
        (None, Some((value, _))) => Some(Key::Number(value)),
        _ => Some(Key::Text(shown.to_lowercase())),
    }
}

/// What decides the place of a cell among others that look the same: the exact value, if the page has one.
fn exact(row: &Value, column: usize) -> String {
    let cell = &row["cells"][column];
    let value = cell["value"].as_str().or(cell["text"].as_str());
    value.unwrap_or_default().to_owned()
}

fn place(rows: &[Value], name: &Value) -> usize {
    let found = rows.iter().position(|row| row["name"] == *name);
    found.unwrap_or_else(|| panic!("{name} is not in the table"))
}

/// Whether rows that are alike in a column are in the order in which they were in `before`.
fn ties_keep(rows: &[Value], before: &[Value], column: usize) -> bool {
    let with_figure =
        |pair: &&[Value]| key(&pair[0], column).is_some() == key(&pair[1], column).is_some();
    let alike = |pair: &&[Value]| exact(&pair[0], column) == exact(&pair[1], column);
    let mut pairs = rows.windows(2).filter(with_figure).filter(alike);
    pairs.all(|pair| place(before, &pair[0]["name"]) < place(before, &pair[1]["name"]))
}

#[test]
fn every_heading_sorts_the_table_from_the_keyboard() {
    let sorts = list(&report()["sorts"]);
    let heads = list(&report()["table"]["heads"]);
    assert_eq!(
        sorts.len(),
        heads.len(),
        "headings with a button in {heads:?}"
    );
    for sort in sorts {
        let head = text(&sort["head"]);
        let column = sort["column"].as_u64().expect("a number") as usize;
        assert_eq!(sort["reached"], true, "Tab comes to {head}");
        assert_eq!(sort["wrong"], serde_json::json!([]), "{head}");
        let before = list(&sort["before"]);
        let mut last = before;
        let mut directions = Vec::new();
        for after in list(&sort["after"]) {
            let pressed = format!("{head}, {}", text(&after["key"]));
            let rows = list(&after["rows"]);
            assert_eq!(rows.len(), before.len(), "{pressed}");
            for row in before {
                assert_eq!(
                    rows[place(rows, &row["name"])],
                    *row,
                    "{pressed}: a row changed"
                );
            }
            let sorted: Vec<(usize, &str)> = list(&after["heads"])
                .iter()
                .enumerate()
                .filter_map(|(place, head)| Some((place, head["sort"].as_str()?)))
                .filter(|(_, sort)| *sort != "none")
                .collect();
            let [(told_of, direction)] = sorted[..] else {
                panic!("{pressed}: aria-sort of {sorted:?}")
            };
            assert_eq!(told_of, column, "{pressed}");
            assert_eq!(after["focus"], column, "{pressed}: the focus stays");
            let keys: Vec<Option<Key>> = rows.iter().map(|row| key(row, column)).collect();
            let figures: Vec<&Key> = keys.iter().flatten().collect();
            assert!(
                keys[figures.len()..].iter().all(Option::is_none),
                "{pressed}: rows without a figure come last: {keys:?}"
            );
            let wrong = match direction {
                "ascending" => Ordering::Greater,
                "descending" => Ordering::Less,
                other => panic!("{pressed}: aria-sort={other}"),
            };
            for pair in figures.windows(2) {
                let order = pair[0].partial_cmp(pair[1]).expect("keys of one kind");
                assert_ne!(order, wrong, "{pressed}: {pair:?}");
            }
            assert!(
                ties_keep(rows, last, column) || ties_keep(rows, before, column),
                "{pressed}: ties {rows:#?}"
            );
            directions.push(direction);
            last = rows;
        }
        directions.sort_unstable();
        assert_eq!(directions, ["ascending", "descending"], "{head}");
    }
}

#[test]
fn whatever_the_tab_key_comes_to_is_seen_on_a_desk_and_on_a_phone() {
    for window in ["desk", "phone"] {
        let stops = list(&report()["stops"][window]);
        assert_eq!(
            stops[0]["href"], "#main",
            "{window}: first of all, past the head of the page"
        );
        for stop in stops {
            assert_eq!(stop["seen"], true, "{window}: {stop}");
        }
    }
}

// ---- units ----

/// Words of units that belong to one set alone.
const US: [&str; 12] = [
    "acre", "acres", "lb", "lbs", "pound", "pounds", "ft", "feet", "mile", "miles", "°F", "inches",
];

const METRIC: [&str; 12] = [
    "ha",
    "hectare",
    "hectares",
    "kg",
    "kilogram",
    "kilograms",
    "km",
    "m",
    "meters",
    "cm",
    "°C",
    "mm",
];

fn words(text: &str) -> Vec<&str> {
    let words = text.split(|letter: char| !letter.is_alphanumeric() && letter != '°');
    words.filter(|word| !word.is_empty()).collect()
}

#[test]
fn the_units_change_from_the_keyboard_with_and_without_scripts() {
    for scripts in ["with", "without"] {
        let units = &report()["units"][scripts];
        assert_eq!(
            list(&units["choices"]).len(),
            2,
            "{scripts}: choices of name=units"
        );
        let views = list(&units["views"]);
        for view in views {
            assert_eq!(view["reached"], true, "{scripts}: Tab comes to the units");
            assert_eq!(
                view["chosen"], view["expected"],
                "{scripts}: the arrow keys choose"
            );
        }
        let [one, other] = [&views[0], &views[1]].map(|view| list(&view["leaves"]));
        let changed: Vec<usize> = (0..one.len())
            .filter(|leaf| one[*leaf]["shown"] != other[*leaf]["shown"])
            .collect();
        for (view, leaves) in [(&views[0], one), (&views[1], other)] {
            let metric = text(&view["chosen"]).contains("metric");
            let (own, foreign) = if metric { (METRIC, US) } else { (US, METRIC) };
            let shown = changed
                .iter()
                .filter(|leaf| leaves[**leaf]["shown"] == true);
            let shown: Vec<&str> = shown.map(|leaf| text(&leaves[*leaf]["text"])).collect();
            let says =
                |units: [&str; 12], text: &str| words(text).iter().any(|word| units.contains(word));
            assert!(
                shown.iter().any(|text| says(own, text)),
                "{scripts}: {} shows {shown:?}",
                view["chosen"]
            );
            for text in shown {
                assert!(
                    !says(foreign, text),
                    "{scripts}: {} shows {text}",
                    view["chosen"]
                );
            }
        }
    }
}
