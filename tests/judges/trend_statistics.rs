//! Tests of trend and slopes against pymannkendall and scipy, on published and on random series.

use serde::Deserialize;
use serde::de::DeserializeOwned;
use stats::trend::hamed_rao::correct_for_memory;
use stats::trend::mann_kendall::{MannKendall, mann_kendall};
use stats::trend::theil_sen::{Moment, TheilSen, theil_sen};

use crate::judge::python;

const TOLERANCE: f64 = 1e-9;

/// A series and what `tests/reference/trend_statistics.py` says of it.
#[derive(Deserialize)]
struct Case {
    name: String,
    times: Vec<f64>,
    values: Vec<f64>,
    left_over: Vec<f64>,
    s: i64,
    variance: f64,
    z: Option<f64>,
    p_value: Option<f64>,
    tau_b: Option<f64>,
    exact_p_value: Option<f64>,
    memory_variance: Option<f64>,
    memory_z: Option<f64>,
    memory_p_value: Option<f64>,
    slope_in_full: Option<f64>,
    slope: f64,
    intercept: f64,
    slope_ends: SlopeEnds,
}

/// Ends of the slope's interval by confidence.
#[derive(Deserialize)]
struct SlopeEnds {
    #[serde(rename = "0.95")]
    wide: [Option<f64>; 2],
    #[serde(rename = "0.8")]
    narrow: [Option<f64>; 2],
}

#[derive(Deserialize)]
struct Orders {
    values: Vec<f64>,
    upper: f64,
}

fn reference<T: DeserializeOwned>(what: &str) -> T {
    let written = python("tests/reference/trend_statistics.py", &[what]);
    serde_json::from_str(&written).expect("what the reference writes")
}

impl Case {
    fn test(&self) -> MannKendall {
        mann_kendall(&self.values).expect("numbers")
    }

    fn line(&self) -> TheilSen {
        let pairs = self.times.iter().zip(&self.values);
        let moments = pairs.map(|(time, value)| Moment {
            time: *time,
            value: *value,
        });
        theil_sen(&moments.collect::<Vec<_>>()).expect("two times or more")
    }

    #[track_caller]
    fn assert_near(&self, what: &str, found: f64, expected: Option<f64>) {
        let expected = expected.unwrap_or_else(|| panic!("{} {what}: not expected", self.name));
        assert!(
            (found - expected).abs() <= TOLERANCE * expected.abs().max(1.0),
            "{} {what}: {found}, expected {expected}",
            self.name
        );
    }
}

#[test]
fn mann_kendall_is_that_of_pymannkendall_and_of_scipy() {
    let cases: Vec<Case> = reference("series");
    assert_eq!(cases.len(), 202);
    let (mut exact, mut tied, mut gaps) = (0, 0, 0);
    for case in &cases {
        let found = case.test();
        assert_eq!(found.s, case.s, "{}", case.name);
        case.assert_near("variance", found.variance, Some(case.variance));
        if case.variance > 0.0 {
            case.assert_near("z", found.z, case.z);
            case.assert_near("p", found.p_value, case.p_value);
            case.assert_near("tau", found.tau_b.expect("values differ"), case.tau_b);
        }
        if let (Some(found), Some(_)) = (found.exact_p_value, case.exact_p_value) {
            case.assert_near("exact p", found, case.exact_p_value);
            exact += 1;
        }
        tied += usize::from(case.exact_p_value.is_none());
        let span = case.times.last().expect("a time") - case.times[0];
        gaps += usize::from(span + 1.0 > case.times.len() as f64);
    }
    assert!(
        exact >= 15 && tied >= 100 && gaps >= 50,
        "{exact} {tied} {gaps}"
    );
}

#[test]
fn the_correction_for_memory_is_that_of_pymannkendall() {
    let cases: Vec<Case> = reference("series");
    let (mut corrected, mut without) = (0, 0);
    for case in &cases {
        let found = correct_for_memory(&case.test(), &case.left_over, 0.95);
        match (found, case.memory_z) {
            (Some(found), Some(_)) => {
                case.assert_near("variance", found.variance, case.memory_variance);
                case.assert_near("z", found.z, case.memory_z);
                case.assert_near("p", found.p_value, case.memory_p_value);
                corrected += usize::from((found.factor - 1.0).abs() > 1e-6);
            }
            // S of 0 has z 0 whatever the variance is worth.
            (None, Some(z)) => assert!(z == 0.0, "{}: z {z} and no correction", case.name),
            (Some(found), None) => panic!("{}: {found:?} where there is none", case.name),
            (None, None) => without += 1,
        }
    }
    assert!(corrected >= 40 && without >= 1, "{corrected} {without}");
}

/// The interval of the slope between whole ranks, rounded and kept within the slopes that there are, as scipy
/// gives it: never missing, but in a short series surer of itself than it should be. Ours is between ranks.
fn between_whole_ranks(line: &TheilSen, confidence: f64) -> (f64, f64) {
    // The standard normal's 97.5 % and 90 % points.
    let z = match confidence {
        0.95 => 1.959_963_984_540_054,
        _ => 1.281_551_565_544_600_4,
    };
    let half = z * line.deviation_of_score.expect("values differ");
    let pairs = line.slopes.len();
    let high = ((pairs as f64 + half) / 2.0).round_ties_even() as usize;
    let low = ((pairs as f64 - half) / 2.0).round_ties_even() - 1.0;
    (
        line.slopes[low.max(0.0) as usize],
        line.slopes[high.min(pairs - 1)],
    )
}

#[test]
fn the_slope_and_its_ends_are_those_of_scipy() {
    let cases: Vec<Case> = reference("series");
    let mut whole = 0;
    for case in &cases {
        let line = case.line();
        case.assert_near("slope", line.slope, Some(case.slope));
        case.assert_near("intercept", line.intercept, Some(case.intercept));
        // pymannkendall sees gaps as places without a value.
        if case.slope_in_full.is_some() {
            case.assert_near("slope in full", line.slope, case.slope_in_full);
            whole += 1;
        }
        for (confidence, ends) in [(0.95, case.slope_ends.wide), (0.8, case.slope_ends.narrow)] {
            if case.variance > 0.0 {
                let (low, high) = between_whole_ranks(&line, confidence);
                case.assert_near("lower end", low, ends[0]);
                case.assert_near("upper end", high, ends[1]);
            }
            // Whatever its ends, it holds the slope.
            if let Some(between) = line.interval(confidence) {
                assert!(between.low <= line.slope && line.slope <= between.high);
            }
        }
    }
    assert!(whole >= 200, "{whole}");
}

#[test]
fn short_series_with_ties_are_counted_as_all_their_orders_are() {
    let series: Vec<Orders> = reference("orders");
    assert_eq!(series.len(), 12);
    for orders in &series {
        let found = mann_kendall(&orders.values).expect("numbers").exact_p_value;
        let found = found.expect("a short series");
        // To both sides; where both hold the same orders, all of them.
        let expected = (2.0 * orders.upper).min(1.0);
        assert!(
            (found - expected).abs() < 1e-12,
            "{:?}: {found}, {expected}",
            orders.values,
        );
    }
}
