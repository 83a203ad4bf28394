//! Sampling statistics against scipy and statsmodels: k by maximum likelihood, Student's intervals, the
//! laws of variance, Wald's lines and what a sequential plan does. Their values come with their inputs.

use serde_json::Value;
use stats::counts::aggregation::{UndefinedK, fit_common_k, fit_k};
use stats::counts::frequencies::CountFrequencies;
use stats::counts::power_law::{MeanVariance, fit_power_law};
use stats::sampling::share_over_line::{chance_of_third, probability_over_third};
use stats::sampling::simulation::{SequentialPlan, Spread};
use stats::sampling::stop_lines::{Decision, Risks, StopRule, WaldLines};

use crate::judge::python;

/// What the reference says of one subject.
fn reference(subject: &str) -> Value {
    let text = python("tests/reference/sampling_statistics.py", &[subject]);
    serde_json::from_str(&text).expect("JSON from a program of ours")
}

/// The cases under a name; so many at least.
fn cases<'a>(of: &'a Value, name: &str, least: usize) -> &'a [Value] {
    let cases = of[name].as_array().expect("a list of cases");
    assert!(cases.len() >= least, "{} {name}", cases.len());
    cases
}

fn number(of: &Value, name: &str) -> f64 {
    of[name]
        .as_f64()
        .unwrap_or_else(|| panic!("no number {name}: {of}"))
}

fn whole_numbers(of: &Value) -> Vec<u64> {
    let numbers = of.as_array().expect("a list of numbers").iter();
    numbers
        .map(|number| number.as_u64().expect("a whole number"))
        .collect()
}

fn numbers(of: &Value) -> Vec<f64> {
    let numbers = of.as_array().expect("a list of numbers").iter();
    numbers
        .map(|number| number.as_f64().expect("a number"))
        .collect()
}

/// Equal to 1e-6, of the value itself where it is above 1.
#[track_caller]
fn assert_close(value: f64, expected: f64, what: &str) {
    assert!(
        (value - expected).abs() <= 1e-6 * expected.abs().max(1.0),
        "{what}: {value}, expected {expected}"
    );
}

#[test]
fn k_is_that_of_statsmodels_and_of_scipy() {
    let reference = reference("k");
    for case in cases(&reference, "fitted", 13) {
        let name = case["name"].as_str().expect("a name");
        let samples = case["samples"].as_array().expect("samples").iter();
        let samples: Vec<CountFrequencies> = samples
            .map(|counts| CountFrequencies::of_counts(&whole_numbers(counts)))
            .collect();
        let fitted = fit_common_k(&samples).expect("an aggregated sample");
        assert_close(fitted.k, number(case, "k_by_root"), name);
        assert_close(fitted.k, number(case, "k_by_regression"), name);
        let error = fitted.standard_error.expect("curved at the maximum");
        assert_close(error, number(case, "standard_error"), name);
        let likelihood = number(case, "log_likelihood");
        assert_close(fitted.log_likelihood, likelihood, name);
        let poisson = number(case, "poisson_log_likelihood");
        assert_close(fitted.poisson_log_likelihood, poisson, name);
    }
    for case in cases(&reference, "extreme", 3) {
        let counts = CountFrequencies::of_counts(&whole_numbers(&case["counts"]));
        let k = fit_k(&counts).expect("an aggregated sample").k;
        let expected = number(case, "k");
        assert!((k / expected - 1.0).abs() < 1e-6, "{k}, {case}");
    }
    for case in cases(&reference, "undefined", 2) {
        let counts = CountFrequencies::of_counts(&whole_numbers(&case["counts"]));
        assert_close(
            counts.mean().expect("squares"),
            number(case, "mean"),
            "mean",
        );
        let variance = counts.variance().expect("squares");
        assert_close(variance, number(case, "variance"), "variance");
        assert_eq!(fit_k(&counts), Err(UndefinedK::NotAggregated));
    }
}

#[test]
fn a_third_of_the_fields_is_judged_as_scipy_does() {
    let reference = reference("thirds");
    let count = |case: &Value, name: &str| number(case, name) as u32;
    for case in cases(&reference, "rules", 240) {
        let chance = chance_of_third(count(case, "fields"), number(case, "share"));
        assert_close(chance.expect("a sample"), number(case, "chance"), "chance");
    }
    for case in cases(&reference, "samples", 495) {
        let probability = probability_over_third(count(case, "found"), count(case, "all"));
        let expected = number(case, "probability");
        assert_close(probability.expect("a sample"), expected, "probability");
    }
}

#[test]
fn taylors_law_is_that_of_scipy() {
    let reference = reference("laws");
    let pairs: Vec<MeanVariance> = cases(&reference, "pairs", 52)
        .iter()
        .map(|pair| MeanVariance {
            mean: numbers(pair)[0],
            variance: numbers(pair)[1],
        })
        .collect();
    let law = fit_power_law(&pairs).expect("52 plots");
    for (name, value) in [
        ("a", law.a),
        ("b", law.b),
        ("b_standard_error", law.b_standard_error),
        ("r_squared", law.r_squared.expect("variances differ")),
    ] {
        assert_close(value, number(&reference, name), name);
    }
}

fn risks(case: &Value) -> Risks {
    let risks = numbers(&case["risks"]);
    Risks {
        false_high: risks[0],
        false_low: risks[1],
    }
}

fn lines(case: &Value) -> WaldLines {
    let (low, high) = (number(case, "low"), number(case, "high"));
    let lines = match case["k"].as_f64() {
        Some(k) => WaldLines::negative_binomial(k, low, high, risks(case)),
        None => WaldLines::poisson(low, high, risks(case)),
    };
    lines.expect("low is below high")
}

fn assert_lines(lines: &WaldLines, case: &Value) {
    assert_close(lines.slope, number(case, "slope"), "slope");
    let (low, high) = (
        number(case, "low_intercept"),
        number(case, "high_intercept"),
    );
    assert_close(lines.low_intercept, low, "low_intercept");
    assert_close(lines.high_intercept, high, "high_intercept");
}

/// The first decision in a sequence of counts, with the units that it took; `Continue` with all of them if none
/// was reached.
fn decide_in_turn(lines: &WaldLines, counts: &[u64]) -> (Decision, u64) {
    let mut total = 0.0;
    for (units, count) in (1..).zip(counts) {
        total += *count as f64;
        let decision = lines.decide(units, total);
        if decision != Decision::Continue {
            return (decision, units);
        }
    }
    (Decision::Continue, counts.len() as u64)
}

#[test]
fn walds_lines_decide_as_the_likelihood_ratio_itself() {
    let reference = reference("lines");
    let mut decisions = Vec::new();
    for case in cases(&reference, "lines", 24) {
        let lines = lines(case);
        assert_lines(&lines, case);
        for sequence in cases(case, "sequences", 3) {
            let counts = whole_numbers(&sequence["counts"]);
            let (decision, units) = decide_in_turn(&lines, &counts);
            assert_eq!(sequence["decision"], format!("{decision:?}"), "{case}");
            assert_eq!(sequence["units"], units, "{case}");
            decisions.push(decision);
        }
    }
    for decision in [Decision::Low, Decision::High, Decision::Continue] {
        assert!(decisions.contains(&decision), "never {decision:?}");
    }
    for case in cases(&reference, "binomial", 3) {
        let (low, high) = (number(case, "low"), number(case, "high"));
        let lines = WaldLines::binomial(low, high, risks(case));
        assert_lines(&lines.expect("low is below high"), case);
    }
}

/// Samples drawn of a plan at each mean.
const SAMPLES: u32 = 20_000;

#[test]
fn simulated_plans_do_what_their_exact_distribution_says() {
    // Four and a half standard errors of what is simulated: once in 150,000 by chance.
    let allowed = |sd: f64| 4.5 * sd / f64::from(SAMPLES).sqrt() + 1e-6;
    let reference = reference("plans");
    for case in cases(&reference, "plans", 3) {
        let plan = SequentialPlan {
            lines: lines(case),
            units_min: case["units_min"].as_u64().expect("units"),
            units_max: case["units_max"].as_u64().expect("units"),
        };
        let spread = Spread::NegativeBinomial {
            k: number(case, "k"),
        };
        let exact = cases(case, "points", 5);
        let means: Vec<f64> = exact.iter().map(|point| number(point, "mean")).collect();
        let points = plan.operating_characteristic(spread, &means, SAMPLES, 17);
        for (point, exact) in points.expect("a plan with sense").iter().zip(exact) {
            for (name, simulated) in [
                ("low", point.probability_low),
                ("high", point.probability_high),
                ("at_limit", point.share_at_limit),
            ] {
                let share = number(exact, name);
                let allowed = allowed((share * (1.0 - share)).abs().sqrt());
                let distance = (simulated - share).abs();
                assert!(distance <= allowed, "{name}: {point:?}, exactly {exact}");
            }
            let allowed = allowed(number(exact, "sd_units"));
            let distance = (point.mean_units - number(exact, "mean_units")).abs();
            assert!(distance <= allowed, "{point:?}, exactly {exact}");
        }
    }
}
