//! Weeks, quantiles and sampling statistics against numpy and the calendar of Python.

use scouting::visit::week::IsoWeek;
use serde_json::Value;

use crate::judge;
use crate::support::published::{county_weeks, numbers, statistics_of, week_of};
use crate::support::thresholds::assert_near;

const SEED: &str = "20260721";

#[test]
fn every_day_from_1990_to_2040_falls_in_the_week_that_python_names() {
    let mut previous: Option<IsoWeek> = None;
    let mut days = 0;
    for line in judge::python("tests/reference/trade_numbers.py", &["weeks"]).lines() {
        let (day, expected) = line.split_once(' ').expect("a day and its week");
        let week = week_of(day);
        assert_eq!(week.to_string(), expected, "{day}");
        if let Some(previous) = previous.filter(|previous| *previous != week) {
            assert_eq!(week.previous(), Some(previous), "{day}");
        }
        previous = Some(week);
        days += 1;
    }
    // 51 years, 13 of them with a 29 February.
    assert_eq!(days, 51 * 365 + 13);
}

#[test]
fn quantiles_means_and_maxima_of_random_groups_are_those_of_numpy() {
    let by_numpy = judge::python("tests/reference/trade_numbers.py", &["quantiles", SEED]);
    let groups: Vec<Value> = by_numpy
        .lines()
        .map(|line| serde_json::from_str(line).expect("a JSON document"))
        .collect();
    assert_eq!(groups.len(), 400);
    let floats = |value: &Value| value.as_f64().expect("a number");
    let values: Vec<Vec<f64>> = groups
        .iter()
        .map(|group| {
            let values = group["values"].as_array().expect("a list");
            values.iter().map(floats).collect()
        })
        .collect();
    let found = county_weeks(&values);
    for (column, name, tolerance) in [
        ("mean_pressure", "mean", 1e-12),
        ("median_pressure", "median", 1e-12),
        ("p90_pressure", "p90", 1e-12),
        ("max_pressure", "max", 0.0),
    ] {
        let found = numbers(&found, column);
        assert_eq!(found.len(), groups.len());
        for (group, found) in groups.iter().zip(found) {
            let size = group["values"].as_array().map_or(0, Vec::len);
            let what = format!("{name} of a group of {size} (seed {SEED})");
            assert_near(found, floats(&group[name]), tolerance, &what);
        }
    }
}

#[test]
fn the_sampling_statistics_of_random_visits_are_those_of_numpy() {
    let by_numpy = judge::python("tests/reference/trade_numbers.py", &["sampling", SEED]);
    let mut compared = 0;
    for line in by_numpy.lines() {
        let expected: Value = serde_json::from_str(line).expect("a JSON document");
        let found = statistics_of(&expected["sites"]);
        for (name, found) in [
            ("field_mean", Some(found.field_mean)),
            ("variance_between_sites", found.variance_between_sites),
            ("variance_within_sites", found.variance_within_sites),
            ("standard_error", found.standard_error),
        ] {
            match (found, expected[name].as_f64()) {
                (None, None) => {}
                (Some(found), Some(expected)) => {
                    let tolerance = 1e-12 * expected.abs().max(1.0);
                    assert_near(found, expected, tolerance, name);
                }
                (found, expected) => panic!("{name}: {found:?} against {expected:?}: {line}"),
            }
        }
        compared += 1;
    }
    assert_eq!(compared, 300);
}
