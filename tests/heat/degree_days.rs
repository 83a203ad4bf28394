//! Degree-days: published tables and closed forms.

use scouting::phenology::degree_days::{
    DayTemperatures, FAHRENHEIT_DEGREE_DAYS, HeatRule, Method, celsius,
};

use super::{assert_near, day, heat, rule};

/// Fahrenheit degree-days of a day in degrees Fahrenheit by the single sine, base 55 °F.
fn heat_55_f(min: f64, max: f64) -> f64 {
    let rule = rule(Method::SingleSine, celsius(55.0));
    FAHRENHEIT_DEGREE_DAYS * rule.degree_days_c(day(celsius(min), celsius(max)))
}

/// Zalom, Goodell, Wilson, Barnett & Bentley 1983, Degree-days: the calculation and use of heat units in pest
/// management, University of California leaflet, Table 7: base 55 °F, to two decimals. Its rows above the table's
/// upper temperature of 90 °F are left out.
#[test]
fn the_table_of_zalom_1983_comes_out() {
    for ([min, max], expected) in [
        ([45.0, 54.0], 0.0),
        ([38.0, 50.0], 0.0),
        ([60.0, 80.0], 15.00),
        ([50.0, 82.0], 11.85),
        ([45.0, 70.0], 5.31),
    ] {
        let what = format!("{min}–{max} °F");
        assert_near(heat_55_f(min, max), expected, 0.0051, &what);
    }
}

/// Recomputed from the definition in the same leaflet.
#[test]
fn warm_days_have_their_heat_in_full() {
    for ([min, max], expected) in [
        ([60.0, 100.0], 25.0),
        ([50.0, 101.0], 21.1712),
        ([96.0, 110.0], 48.0),
    ] {
        let what = format!("{min}–{max} °F");
        assert_near(heat_55_f(min, max), expected, 1e-4, &what);
    }
}

/// Recomputed from the definition, with the base of Barker and co-author 1993 (J. Kansas Entomol. Soc.
/// 66(4):420–426).
#[test]
fn celsius_days_of_the_banded_sunflower_moths_base_come_out() {
    for ([min, max], expected) in [([10.0, 30.0], 9.0101), ([8.0, 20.0], 3.5876)] {
        let found = heat(rule(Method::SingleSine, 11.1), min, max);
        assert_near(found, expected, 1e-4, &format!("{min}–{max} °C"));
    }
}

/// Base 12 °C. The first row is published as 0.47 and its finer digits are recomputed; the others are days of
/// January 2016 at Ojai from a University of California run, to two decimals.
#[test]
fn days_of_a_university_of_california_run_come_out() {
    for ([min, max], sine, tolerance) in [
        ([7.0, 14.0], 0.4681, 1e-4),
        ([7.8, 19.4], 2.72, 0.01),
        ([4.4, 22.2], 3.51, 0.01),
        ([10.0, 21.7], 4.21, 0.01),
        ([7.8, 25.6], 5.59, 0.01),
    ] {
        let found = heat(rule(Method::SingleSine, 12.0), min, max);
        assert_near(found, sine, tolerance, &format!("{min}–{max} °C"));
    }
}

/// McMaster, G.S. & Wilhelm, W.W. 1997, Agric. For. Meteorol. 87:291–300, Table 1: base 0 °C, method 1.
#[test]
fn the_average_comes_out() {
    for (max, min, expected) in [
        (20.0, 10.0, 15.0),
        (10.0, 1.0, 5.5),
        (8.0, -2.0, 3.0),
        (6.0, 0.0, 3.0),
        (10.0, 5.0, 7.5),
        (5.0, -5.0, 0.0),
        (-2.0, -7.0, 0.0),
        (-5.0, -10.0, 0.0),
        (10.0, -2.0, 4.0),
        (15.0, 2.0, 8.5),
    ] {
        let found = heat(rule(Method::AverageThenBase, 0.0), min, max);
        assert_near(found, expected, 1e-12, &format!("{min}–{max} °C"));
    }
}

/// Recomputed from the definitions for sunflower's base: how far the choice of method goes.
#[test]
fn the_methods_differ_on_a_cool_night() {
    for (method, expected) in [(Method::AverageThenBase, 4.3), (Method::SingleSine, 5.3485)] {
        let found = heat(rule(method, 6.7), 2.0, 20.0);
        assert_near(found, expected, 1e-4, &format!("{method:?}"));
    }
}

#[test]
fn a_base_or_a_day_that_cannot_be_is_refused() {
    for base_c in [f64::NAN, -91.0, 61.0] {
        let refused = HeatRule::new(Method::SingleSine, base_c).expect_err("no base");
        assert!(refused.contains("no temperature of air"), "{refused}");
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
