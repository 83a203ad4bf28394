//! Degree-days and development against published values, typed by hand with their sources. Hourly records stand
//! in `heat_hourly.rs`.

mod degree_days;
mod development;

use scouting::phenology::degree_days::{DayTemperatures, HeatRule, Method};

fn rule(method: Method, base_c: f64) -> HeatRule {
    HeatRule::new(method, base_c).expect("a base of air")
}

fn day(min_c: f64, max_c: f64) -> DayTemperatures {
    DayTemperatures::new(min_c, max_c).expect("a day that can be")
}

/// A rule's heat of one day.
fn heat(rule: HeatRule, min_c: f64, max_c: f64) -> f64 {
    rule.degree_days_c(day(min_c, max_c))
}

#[track_caller]
fn assert_near(found: f64, expected: f64, tolerance: f64, what: &str) {
    let near = (found - expected).abs() <= tolerance;
    assert!(near, "{what}: {found}, not {expected} within {tolerance}");
}
