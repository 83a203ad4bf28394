//! The first screen of an alert, on a phone and on a desk: the three answers and the map are on it, the map marks what the
//! headline counts, and every county can be looked up.

use serde_json::Value;

use crate::judge::node;
use crate::look::{demo_alert, kept, sixty_counties};
use crate::support::text_of;

/// Windows of a phone and of a desk.
const WINDOWS: [(&str, f64); 2] = [("360", 740.0), ("1440", 900.0)];

fn first_screen(page: &std::path::Path, name: &str) -> Value {
    let report = node(
        "tests/reference/first_screen.mjs",
        &[&text_of(page), &text_of(&kept(name))],
    );
    serde_json::from_str(&report).expect("JSON")
}

fn number(of: &Value) -> f64 {
    of.as_f64().expect("a number")
}

fn list(of: &Value) -> Vec<&str> {
    let texts = of.as_array().expect("a list").iter();
    texts.map(|text| text.as_str().expect("text")).collect()
}

#[track_caller]
fn assert_answers_come_first(report: &Value) {
    for (width, height) in WINDOWS {
        let seen = &report[width];
        for answer in ["Where", "How sure", "What to do now"] {
            let bottom = number(&seen["answers"][answer]["bottom"]);
            assert!(bottom <= height, "{width}: {answer} ends at {bottom}");
        }
        let [top, bottom] = ["top", "bottom"].map(|end| number(&seen["map"][end]));
        // The whole map on a desk; on a phone its beginning, which says that there is one.
        match width {
            "1440" => assert!(bottom <= height, "{width}: the map ends at {bottom}"),
            _ => assert!(top + 60.0 <= height, "{width}: the map begins at {top}"),
        }
    }
    // On a desk the map is next to the answers, and the two take the width of the window.
    let desk = &report["1440"];
    let [left, right] = [&desk["answers"]["Where"]["left"], &desk["map"]["right"]].map(number);
    assert!(left < 60.0 && right > 1380.0, "from {left} to {right}");
    assert!(number(&desk["map"]["left"]) > number(&desk["answers"]["Where"]["right"]));
}

/// The counties that the headline counts: `in 3 of the 14 counties`, `in all 3 counties`; one where it names the county.
fn counted(headline: &str) -> usize {
    let after = headline.split(" in ").nth(1).expect("a place");
    let words = after.split(' ').filter(|word| *word != "all");
    match words.map(str::parse).next().expect("a word") {
        Ok(counties) => counties,
        Err(_) => 1,
    }
}

#[track_caller]
fn assert_the_map_agrees(report: &Value, counties: usize) {
    let seen = &report["1440"];
    let headline = seen["said"].as_str().expect("a headline");
    let outlined = list(&seen["outlined"]);
    assert_eq!(
        outlined.len(),
        counted(headline),
        "{headline}: {outlined:?}"
    );
    // Every county is in the table or in the list, with a number of its own.
    let mut numbers: Vec<usize> = Vec::new();
    for row in seen["table"].as_array().expect("a list") {
        numbers.push(
            row[0]
                .as_str()
                .and_then(|n| n.parse().ok())
                .expect("a number"),
        );
    }
    for text in list(&seen["lists"]) {
        let numbered = text
            .split('(')
            .skip(1)
            .filter_map(|rest| rest.split(')').next());
        numbers.extend(numbered.filter_map(|number| number.parse::<usize>().ok()));
    }
    numbers.sort_unstable();
    assert_eq!(numbers, (1..=counties).collect::<Vec<_>>());
}

#[test]
fn the_demo_answers_where_how_sure_and_what_now_on_the_first_screen() {
    let report = first_screen(&demo_alert().join("alert.html"), "first");
    assert_answers_come_first(&report);
    assert_the_map_agrees(&report, 16);
    // On a phone each county of sixteen has its number; on a desk each has its name.
    let phone = list(&report["360"]["numbers"]);
    assert_eq!(phone.len(), 16, "{phone:?}");
    assert!(list(&report["360"]["names"]).is_empty());
    let desk = &report["1440"];
    let written = list(&desk["names"]);
    assert!(
        written.iter().any(|text| text.contains(" of ")),
        "{written:?}"
    );
    assert!(written.len() > 16, "{written:?}");
}

#[test]
fn sixty_counties_leave_the_first_screen_as_it_is() {
    let (workspace, counties) = sixty_counties();
    workspace
        .run(&["alert", "--week", "2026-W30"])
        .expect_code(0);
    let page = workspace.path().join("alerts/2026-W30/bsm-eggs/alert.html");
    let report = first_screen(&page, "first-sixty");
    assert_answers_come_first(&report);
    assert_the_map_agrees(&report, counties);
    let desk = &report["1440"];
    let labels = list(&desk["numbers"]).len();
    assert!(labels + list(&desk["names"]).len() >= counties, "{desk}");
}
