//! Degree-days and development against published values, typed by hand with their sources. Hourly records stand
//! in `heat_hourly.rs`.

use bractline::heat::degree_days::{
    Cutoff, DailyHeat, DayTemperatures, FAHRENHEIT_DEGREE_DAYS, HeatRule, Method, Thresholds,
    celsius,
};
use bractline::heat::development::Development;
use bractline::visit::stage::Stage;
use jiff::ToSpan;
use jiff::civil::{Date, date};

const SINGLE_AND_DOUBLE: [Method; 4] = [
    Method::SingleTriangle,
    Method::DoubleTriangle,
    Method::SingleSine,
    Method::DoubleSine,
];

fn rule(method: Method, lower_c: f64, upper: Option<(f64, Cutoff)>) -> HeatRule {
    let upper_c = upper.map(|(upper_c, _)| upper_c);
    let cutoff = upper.map_or(Cutoff::None, |(_, cutoff)| cutoff);
    HeatRule::new(method, Thresholds { lower_c, upper_c }, cutoff).expect("a rule that fits")
}

fn day(min_c: f64, max_c: f64) -> DayTemperatures {
    DayTemperatures::new(min_c, max_c).expect("a day that can be")
}

/// A rule's heat of one day.
fn heat(rule: HeatRule, min_c: f64, max_c: f64) -> f64 {
    rule.degree_days_c(day(min_c, max_c), None)
}

/// Fahrenheit degree-days of a day in degrees Fahrenheit, base 55 °F, upper 90 °F.
fn heat_55_90_f(method: Method, cutoff: Cutoff, [min, max, next_min]: [f64; 3]) -> f64 {
    let upper = (cutoff != Cutoff::None).then_some((celsius(90.0), cutoff));
    let rule = rule(method, celsius(55.0), upper);
    let day = day(celsius(min), celsius(max));
    FAHRENHEIT_DEGREE_DAYS * rule.degree_days_c(day, Some(celsius(next_min)))
}

#[track_caller]
fn assert_near(found: f64, expected: f64, tolerance: f64, what: &str) {
    let near = (found - expected).abs() <= tolerance;
    assert!(near, "{what}: {found}, not {expected} within {tolerance}");
}

// --- Degree-days ---------------------------------------------------------------------------------

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

// --- Development ---------------------------------------------------------------------------------

/// Sunflower by Manitoba Agriculture, Food and Rural Development 2014: degree-days (°C) from planting, base
/// 6.7 °C (44 °F, rounded), (maximum + minimum) / 2 less the base. Sunflower stem weevil by Colorado State
/// University's northern IPM page: 41 °F, average, from 1 January (the page says 1 March as well), printed in
/// Fahrenheit degree-days.
const MODELS: &str = r#"
[crop]
base_c = 6.7
method = "average-then-base"
from = "planting"
source = "Manitoba Agriculture, Food and Rural Development 2014"
[crop.stages]
VE = 97
V1 = 117
V12 = 333
R1 = 569
R2 = 647
R3 = 726
R4 = 805
"R5.1" = 883
"R5.5" = 962
R6 = 1040
R7 = 1119
R8 = 1197
R9 = 1276

[pest]
base_c = 5.0
method = "average-then-base"
from = "01-01"
source = "Colorado State University, northern IPM page"
events = { "pupation, 90 %" = 325.0, "adults formed, 90 %" = 546.67, "emergence, 50 %" = 558.0, "emergence, 75 %" = 675.0, "emergence, 90 %" = 795.0 }
"#;

fn models() -> Development {
    toml::from_str(MODELS).expect("models that fit")
}

fn stage(text: &str) -> Stage {
    Stage::parse(text).expect("a stage of the scale")
}

#[test]
fn sunflower_grows_by_the_table_of_manitoba() {
    let crop = models().crop.expect("a crop model");
    assert_near(
        heat(crop.rule, 10.0, 25.0),
        10.8,
        1e-9,
        "the source's worked day",
    );
    assert_near(
        celsius(44.0),
        6.667,
        5e-4,
        "44 °F; the source rounds to 6.7",
    );
    let until = |name: &str| crop.heat_until(stage(name)).expect("in the table");
    for (from, to, expected) in [
        ("R2", "R3", 79.0),
        ("R3", "R5.1", 157.0),
        ("R2", "R5.1", 236.0),
        ("R5.1", "R9", 393.0),
    ] {
        assert_near(
            until(to) - until(from),
            expected,
            1e-9,
            &format!("{from} to {to}"),
        );
    }
    // At a mean of 20 °C: recomputed from the table.
    let a_day = heat(crop.rule, 20.0, 20.0);
    assert_near(
        (until("R3") - until("R2")) / a_day,
        5.9,
        0.05,
        "R2 to R3, days",
    );
    assert_near(
        (until("R5.1") - until("R3")) / a_day,
        11.8,
        0.05,
        "R3 to R5.1, days",
    );
    // 5 to 31 August in Manitoba, 27 days, gives 275 to 320 by the same source: means of 16.9 and 18.6 °C,
    // and the cool end of the range that the days without weather are computed at.
    assert_near(
        27.0 * heat(crop.rule, 16.9, 16.9),
        275.0,
        1.0,
        "a cool August",
    );
    assert_near(
        27.0 * heat(crop.rule, 18.55, 18.55),
        320.0,
        1.0,
        "a warm August",
    );
}

/// The days of the protocol file's `days_to_treatment`, from the table of Manitoba at a mean of 17 to 24 °C,
/// rounded outwards to whole days.
#[test]
fn days_to_treatment_follow_from_the_table() {
    let crop = models().crop.expect("a crop model");
    for (from, exact, days) in [
        ("R1", [236.0 / 17.3, 314.0 / 10.3], [13.0, 31.0]),
        ("R2", [157.0 / 17.3, 236.0 / 10.3], [9.0, 23.0]),
        ("R3", [78.0 / 17.3, 157.0 / 10.3], [4.0, 16.0]),
        ("R4", [0.0, 78.0 / 10.3], [0.0, 8.0]),
    ] {
        let found = crop.days_to(stage(from), stage("R5.1"), [17.0, 24.0]);
        let [few, many] = found.expect("in the table");
        assert_near(few, exact[0], 1e-9, from);
        assert_near(many, exact[1], 1e-9, from);
        assert_eq!([few.floor(), many.ceil()], days, "{from}");
    }
    // Between two stages of the table, beyond it, and too cold to grow.
    assert_eq!(crop.heat_of(stage("V5")), Some([117.0, 333.0]));
    assert_eq!(crop.heat_of(stage("R5.0")), Some([805.0, 883.0]));
    assert_eq!(crop.heat_of(stage("R5")), Some([805.0, 1040.0]));
    assert_eq!(crop.heat_of(stage("R9")), None);
    assert_eq!(crop.days_to(stage("R2"), stage("R5.1"), [6.0, 24.0]), None);
}

/// Barker and co-author 1993, J. Kansas Entomol. Soc. 66(4):420–426, abstract: thresholds 11.1 and 15.0 °C; constants 298.4,
/// 403.3, 128.7. The days and sums are recomputed. The abstract prints 831.4 for the whole, its parts make
/// 830.4.
#[test]
fn the_banded_sunflower_moth_takes_the_published_heat() {
    for method in [
        Method::AverageThenBase,
        Method::SingleSine,
        Method::DoubleTriangle,
    ] {
        let before_diapause = rule(method, 11.1, None);
        for (mean, days) in [(20.0, 33.53), (25.0, 21.47), (28.0, 17.66)] {
            let a_day = heat(before_diapause, mean, mean);
            assert_near(
                298.4 / a_day,
                days,
                0.01,
                &format!("{method:?} at {mean} °C"),
            );
        }
    }
    assert_near(
        298.4 + 403.3 + 128.7,
        831.4,
        1.0 + 1e-9,
        "egg to adult with diapause",
    );
    // 532.0 from the end of diapause to the adult: at 20 °C 5.0 a day over 15.0 °C.
    let after_diapause = rule(Method::SingleSine, 15.0, None);
    assert_near(
        (403.3 + 128.7) / heat(after_diapause, 20.0, 20.0),
        106.4,
        1e-9,
        "days",
    );
}

/// Colorado State University's northern IPM page: sums of 15 June 2010 at three places, Fahrenheit
/// degree-days, and what they say of emergence.
#[test]
fn the_stem_weevil_emerges_where_the_published_sums_say() {
    let pest = models().pest.expect("a pest model");
    assert_near(celsius(41.0), 5.0, 1e-12, "the base");
    for (celsius_days, printed) in [
        (325.0, 585.0),
        (546.67, 984.0),
        (558.0, 1004.4),
        (675.0, 1215.0),
        (795.0, 1431.0),
    ] {
        assert_near(
            celsius_days * FAHRENHEIT_DEGREE_DAYS,
            printed,
            0.01,
            "printed, Fahrenheit",
        );
    }
    let names = [
        "pupation, 90 %",
        "adults formed, 90 %",
        "emergence, 50 %",
        "emergence, 75 %",
        "emergence, 90 %",
    ];
    for (place, sum_f, past) in [
        ("Akron", 1020.0, [true, true, true, false, false]),
        ("Haxtun", 947.0, [true, false, false, false, false]),
        ("Kirk", 1139.0, [true, true, true, false, false]),
    ] {
        let expected: Vec<_> = names.into_iter().zip(past).collect();
        assert_eq!(
            pest.events_at(sum_f / FAHRENHEIT_DEGREE_DAYS),
            expected,
            "{place}"
        );
    }
    let enough = pest.events_at(558.0);
    assert_eq!(enough[2], ("emergence, 50 %", true), "just enough");
    // The same from a record: 5.7 degree-days a day from 1 January make 558.6 on the 98th day, 8 April.
    let days = date(2025, 12, 1).series(1.day()).take(200);
    let record = days.map(|day_of| (day_of, day(4.7, 16.7))).collect();
    let heat = DailyHeat::of(&record, pest.rule);
    let emerged = |day: Date| pest.events_by(&heat, day).map(|events| events[2].1);
    assert_eq!(emerged(date(2026, 4, 7)), Some(false));
    assert_eq!(emerged(date(2026, 4, 8)), Some(true));
    assert_eq!(emerged(date(2026, 7, 1)), None);
}
