//! Degree-days: published tables and closed forms.

use scouting::phenology::degree_days::{
    Cutoff, DayTemperatures, FAHRENHEIT_DEGREE_DAYS, HeatRule, Method, Thresholds, celsius,
};

use super::{assert_near, day, heat, rule};

const SINGLE_AND_DOUBLE: [Method; 4] = [
    Method::SingleTriangle,
    Method::DoubleTriangle,
    Method::SingleSine,
    Method::DoubleSine,
];

/// Fahrenheit degree-days of a day in degrees Fahrenheit, base 55 °F, upper 90 °F.
fn heat_55_90_f(method: Method, cutoff: Cutoff, [min, max, next_min]: [f64; 3]) -> f64 {
    let upper = (cutoff != Cutoff::None).then_some((celsius(90.0), cutoff));
    let rule = rule(method, celsius(55.0), upper);
    let day = day(celsius(min), celsius(max));
    FAHRENHEIT_DEGREE_DAYS * rule.degree_days_c(day, Some(celsius(next_min)))
}

/// Zalom, Goodell, Wilson, Barnett & Bentley 1983, Degree-days: the calculation and use of heat units in pest
/// management, University of California leaflet, Table 7: 55 and 90 °F, horizontal cut-off, to two decimals.
#[test]
fn the_table_of_zalom_1983_comes_out() {
    // Minimum, maximum, next minimum; single and double triangle, single and double sine.
    let table = [
        ([96.0, 110.0, 91.0], [35.00, 35.00, 35.00, 35.00]),
        ([91.0, 105.0, 96.0], [35.00, 35.00, 35.00, 35.00]),
        ([45.0, 54.0, 38.0], [0.0, 0.0, 0.0, 0.0]),
        ([38.0, 50.0, 45.0], [0.0, 0.0, 0.0, 0.0]),
        ([60.0, 80.0, 75.0], [15.00, 18.75, 15.00, 18.75]),
        ([50.0, 82.0, 45.0], [11.39, 10.62, 11.85, 11.31]),
        ([45.0, 70.0, 50.0], [4.50, 5.06, 5.31, 5.70]),
        // The double triangle is printed as 24.88, a misprint: each half is right by the other rows, and the
        // halves of 60–100 °F and 75–100 °F are 11.875 and 15.25.
        ([60.0, 100.0, 75.0], [23.75, 27.13, 22.82, 26.26]),
        ([50.0, 101.0, 48.0], [19.56, 19.19, 18.95, 18.69]),
    ];
    for (temperatures, expected) in table {
        for (method, expected) in SINGLE_AND_DOUBLE.into_iter().zip(expected) {
            let found = heat_55_90_f(method, Cutoff::Horizontal, temperatures);
            let what = format!("{method:?} of {temperatures:?}");
            assert_near(found, expected, 0.0051, &what);
        }
    }
    let half = |min: f64| {
        heat_55_90_f(
            Method::SingleTriangle,
            Cutoff::Horizontal,
            [min, 100.0, min],
        ) / 2.0
    };
    assert_near(
        half(60.0),
        11.875,
        1e-9,
        "the first half of the misprinted row",
    );
    assert_near(half(75.0), 15.25, 1e-9, "its second half");
}

/// Recomputed from the definitions of the cut-offs in the same leaflet, single sine, 55 and 90 °F.
#[test]
fn every_cutoff_takes_what_it_says() {
    // None, horizontal, intermediate, vertical.
    for ([min, max], expected) in [
        ([60.0, 100.0], [25.0, 22.8200, 20.6401, 11.1534]),
        ([50.0, 101.0], [21.1712, 18.9526, 16.7341, 8.1910]),
        ([96.0, 110.0], [48.0, 35.0, 22.0, 0.0]),
    ] {
        let cutoffs = [
            Cutoff::None,
            Cutoff::Horizontal,
            Cutoff::Intermediate,
            Cutoff::Vertical,
        ];
        for (cutoff, expected) in cutoffs.into_iter().zip(expected) {
            let found = heat_55_90_f(Method::SingleSine, cutoff, [min, max, min]);
            let what = format!("{cutoff:?} of {min}–{max} °F");
            assert_near(found, expected, 1e-4, &what);
        }
    }
}

/// Recomputed from the definitions, single sine, with the base of Barker and co-author 1993 (J. Kansas Entomol. Soc.
/// 66(4):420–426) and 32 °C.
#[test]
fn celsius_days_of_the_banded_sunflower_moths_base_come_out() {
    let by = |cutoff| rule(Method::SingleSine, 11.1, Some((32.0, cutoff)));
    for (cutoff, [min, max], expected) in [
        (Cutoff::Horizontal, [10.0, 30.0], 9.0101),
        (Cutoff::Horizontal, [15.0, 35.0], 13.3991),
        (Cutoff::Vertical, [15.0, 35.0], 8.1076),
        (Cutoff::Horizontal, [8.0, 20.0], 3.5876),
        (Cutoff::Horizontal, [18.0, 40.0], 15.7675),
        (Cutoff::Vertical, [18.0, 40.0], 7.1552),
    ] {
        let what = format!("{cutoff:?} of {min}–{max} °C");
        assert_near(heat(by(cutoff), min, max), expected, 1e-4, &what);
    }
}

/// 12 and 33 °C. The first row's sine is published as 0.47 and its finer digits and triangle are recomputed; the
/// others are days of January 2016 at Ojai from a University of California run, to two decimals.
#[test]
fn days_of_a_university_of_california_run_come_out() {
    let by = |method| rule(method, 12.0, Some((33.0, Cutoff::Horizontal)));
    for ([min, max], [sine, triangle], tolerance) in [
        ([7.0, 14.0], [0.4681, 0.2857], 1e-4),
        ([7.8, 19.4], [2.72, 2.36], 0.01),
        ([4.4, 22.2], [3.51, 2.92], 0.01),
        ([10.0, 21.7], [4.21, 4.02], 0.01),
        ([7.8, 25.6], [5.59, 5.20], 0.01),
    ] {
        let what = format!("{min}–{max} °C");
        assert_near(
            heat(by(Method::SingleSine), min, max),
            sine,
            tolerance,
            &what,
        );
        assert_near(
            heat(by(Method::SingleTriangle), min, max),
            triangle,
            tolerance,
            &what,
        );
    }
}

/// McMaster, G.S. & Wilhelm, W.W. 1997, Agric. For. Meteorol. 87:291–300, Table 1: base 0 °C, both readings.
#[test]
fn both_readings_of_the_average_come_out() {
    for (max, min, first, second) in [
        (20.0, 10.0, 15.0, 15.0),
        (10.0, 1.0, 5.5, 5.5),
        (8.0, -2.0, 3.0, 4.0),
        (6.0, 0.0, 3.0, 3.0),
        (10.0, 5.0, 7.5, 7.5),
        (5.0, -5.0, 0.0, 2.5),
        (-2.0, -7.0, 0.0, 0.0),
        (-5.0, -10.0, 0.0, 0.0),
        (10.0, -2.0, 4.0, 5.0),
        (15.0, 2.0, 8.5, 8.5),
    ] {
        let what = format!("{min}–{max} °C");
        let by = |method| heat(rule(method, 0.0, None), min, max);
        assert_near(by(Method::AverageThenBase), first, 1e-12, &what);
        assert_near(by(Method::BaseThenAverage), second, 1e-12, &what);
    }
}

/// Recomputed from the definitions for sunflower's base: how far the choice of method goes.
#[test]
fn the_methods_differ_on_a_cool_night() {
    for (method, expected) in [
        (Method::AverageThenBase, 4.3),
        (Method::BaseThenAverage, 6.65),
        (Method::SingleSine, 5.3485),
    ] {
        let found = heat(rule(method, 6.7, None), 2.0, 20.0);
        assert_near(found, expected, 1e-4, &format!("{method:?}"));
    }
}

/// A rule that does not hold together is refused where it is made.
#[test]
fn a_rule_says_what_does_not_fit() {
    let made = |method, lower_c, upper_c, cutoff| {
        HeatRule::new(method, Thresholds { lower_c, upper_c }, cutoff).err()
    };
    for (refused, says) in [
        (
            made(Method::SingleSine, 20.0, Some(20.0), Cutoff::Horizontal),
            "not above the base",
        ),
        (
            made(Method::SingleSine, f64::NAN, None, Cutoff::None),
            "no temperature of air",
        ),
        (
            made(Method::SingleSine, 5.0, Some(f64::NAN), Cutoff::Vertical),
            "not above the base",
        ),
        (
            made(Method::SingleSine, 5.0, Some(30.0), Cutoff::None),
            "needs a cut-off",
        ),
        (
            made(Method::SingleSine, 5.0, None, Cutoff::Horizontal),
            "needs an upper temperature",
        ),
        (
            made(Method::AverageThenBase, 5.0, Some(30.0), Cutoff::Vertical),
            "has no hours",
        ),
    ] {
        let refused = refused.expect("refused");
        assert!(refused.contains(says), "{refused}");
    }
    for (min, max) in [
        (20.0, 10.0),
        (f64::NAN, 10.0),
        (0.0, f64::NAN),
        (0.0, 61.0),
        (-91.0, 0.0),
    ] {
        assert!(DayTemperatures::new(min, max).is_err(), "{min}–{max}");
    }
}
