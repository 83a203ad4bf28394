//! Values from outside, typed by hand, each with its source beside it. Nothing here was filled in by the
//! program: only such values can prove it right.

use jiff::civil::Date;
use scouting::visit::record::{Economics, MarketValue, PlantPopulation, TreatmentCost};
use scouting::visit::stage::Stage;
use scouting::visit::week::{IsoWeek, Weeks};
use serde_json::json;
use stats::sampling::share_interval::wilson;

use crate::support::published::{county_weeks, numbers, statistics_of, week_of};
use crate::support::thresholds::assert_near;
use crate::thresholds::{METRIC, US, economics};

// --- Units ---------------------------------------------------------------------------------------

fn members(economics: &Economics) -> (TreatmentCost, MarketValue, PlantPopulation) {
    let economics = economics.clone();
    let cost = economics.treatment_cost.expect("a cost");
    let value = economics.market_value.expect("a value");
    (cost, value, economics.plant_population.expect("a stand"))
}

#[test]
fn units_are_those_of_nist() {
    // NIST Special Publication 811, appendix B: both factors exact. Values recomputed by hand.
    let (us_cost, us_value, us_plants) = members(&economics(8.0, 0.16, 20_000.0, US));
    assert_near(us_cost.per_ha(), 19.768_43, 5e-6, "8 an acre, per ha");
    assert_near(us_value.per_kg(), 0.352_739_62, 5e-9, "0.16 a lb, per kg");
    assert_near(
        us_plants.per_ha(),
        49_421.08,
        5e-3,
        "20,000 an acre, per ha",
    );
    assert_eq!(us_cost.per_acre(), 8.0);
    assert_eq!(us_value.per_lb(), 0.16);
    assert_eq!(us_plants.per_acre(), 20_000.0);
    // The economics of Charlet & Barker 1995, Helia 18(23):59-66, as the abstract and the ARS summary print
    // them: $17.30/ha is $7/acre, $0.20/kg is $0.09/lb, 44,600/ha is 18,000/acre.
    let (metric_cost, metric_value, metric_plants) =
        members(&economics(17.30, 0.20, 44_600.0, METRIC));
    assert_near(metric_cost.per_acre(), 7.0, 0.005, "17.30 a ha, per acre");
    assert_near(metric_value.per_lb(), 0.0907, 5e-5, "0.20 a kg, per lb");
    assert_near(
        metric_plants.per_acre(),
        18_049.0,
        0.5,
        "44,600 a ha, per acre",
    );
    assert_eq!(metric_cost.per_ha(), 17.30);
}

#[test]
fn days_at_the_turn_of_the_year_fall_in_the_week_of_iso_8601() {
    // ISO 8601: weeks run Monday to Sunday, week 1 holds the year's first Thursday. Worked out by that rule
    // from the weekday next to each day; the first two with 2020-12-31 (Thursday) are classics.
    for (day, expected) in [
        ("2005-01-01", "2004-W53"), // Saturday
        ("2005-01-02", "2004-W53"), // Sunday
        ("2008-12-29", "2009-W01"), // Monday
        ("2009-12-31", "2009-W53"), // Thursday
        ("2014-12-28", "2014-W52"), // Sunday
        ("2014-12-29", "2015-W01"), // Monday
        ("2015-01-02", "2015-W01"), // Friday
        ("2016-02-14", "2016-W06"), // Sunday
        ("2017-01-01", "2016-W52"), // Sunday
        ("2017-12-31", "2017-W52"), // Sunday
        ("2019-12-30", "2020-W01"), // Monday
        ("2020-12-31", "2020-W53"), // Thursday
        ("2021-01-01", "2020-W53"), // Friday
        ("2021-01-03", "2020-W53"), // Sunday
        ("2021-01-04", "2021-W01"), // Monday
        ("2024-12-29", "2024-W52"), // Sunday
        ("2024-12-30", "2025-W01"), // Monday
        ("2025-12-28", "2025-W52"), // Sunday
        ("2026-01-01", "2026-W01"), // Thursday
        ("2026-07-13", "2026-W29"), // Monday
        ("2026-07-19", "2026-W29"), // Sunday
        ("2026-07-21", "2026-W30"), // Tuesday, the worked visit
        ("2026-12-31", "2026-W53"), // Thursday
    ] {
        let (week, weeks) = (week_of(day), Weeks::ISO);
        assert_eq!(weeks.of(day.parse().expect("a day")), week, "{day}");
        assert_eq!(week.to_string(), expected, "{day}");
        assert_eq!(week.season().to_string(), expected[..4], "{day}");
        assert_eq!(expected.parse(), Ok(week), "{day}");
        let day: Date = day.parse().expect("a day");
        assert!(
            (weeks.first_day(week)..=weeks.last_day(week)).contains(&day),
            "{day}"
        );
    }
}

#[test]
fn the_long_years_of_2000_to_2040_have_53_weeks_and_no_others() {
    // By the rule of ISO 8601: years that begin on a Thursday, or leap years that begin on a Wednesday.
    let long = [2004, 2009, 2015, 2020, 2026, 2032, 2037];
    for year in 2000..=2040 {
        let last: Result<IsoWeek, _> = format!("{year}-W53").parse();
        assert_eq!(last.is_ok(), long.contains(&year), "{year}");
        assert!(format!("{year}-W52").parse::<IsoWeek>().is_ok());
        assert!(format!("{year}-W54").parse::<IsoWeek>().is_err());
        assert!(format!("{year}-W00").parse::<IsoWeek>().is_err());
    }
}

// --- Crop stages ---------------------------------------------------------------------------------

#[test]
fn the_scale_of_schneiter_and_miller_is_read_and_ordered() {
    // Schneiter, A.A. & Miller, J.F. 1981, Crop Science 21(6):901-903 (citation from memory): VE, Vn, R1 to
    // R9, R5.x for x tenths of the disk in flower. The trade also writes R5.0 (Peng & Brewer; K-State 2003).
    let scale = [
        "VE", "V1", "V2", "V4", "V9", "V10", "V12", "V20", "R1", "R2", "R3", "R4", "R5.0", "R5.1",
        "R5.2", "R5.5", "R5.7", "R5.9", "R6", "R7", "R8", "R9",
    ];
    let places = scale.map(|text| {
        let stage = Stage::parse(text).unwrap_or_else(|| panic!("{text} is on the scale"));
        assert_eq!(stage.to_string(), text);
        assert_eq!(stage.first_place(), stage.last_place(), "{text}");
        stage.first_place()
    });
    assert!(
        places.is_sorted_by(|earlier, later| earlier < later),
        "{places:?}"
    );
    for written in ["R-5.1", "r5.1", "R 5.1", "R5.1"] {
        let stage = Stage::parse(written).unwrap_or_else(|| panic!("{written} is R5.1"));
        assert_eq!(stage.to_string(), "R5.1");
    }
    // A stage is no number: 5.10 is not 5.1, and there is no R10.
    for written in [
        "R5.10", "5.1", "R10", "R0", "R3.1", "V0", "R5.", "R", "bloom", "R5,1", "R+3",
    ] {
        assert!(Stage::parse(written).is_none(), "{written}");
    }
}

#[test]
fn published_wilson_intervals_come_out_of_the_stages() {
    // Newcombe, R.G. 1998, Statistics in Medicine 17(8):857-872: his examples 81/263 and 15/148, and (from
    // memory) 0/20 and 1/29, method 3. The others recomputed by hand from Wilson's formula.
    const TABLE: [(usize, usize, f64, f64); 10] = [
        (81, 263, 0.2553, 0.3662),
        (15, 148, 0.0624, 0.1605),
        (0, 20, 0.0, 0.1611),
        (1, 29, 0.0061, 0.1718),
        // Wilson's interval is its own mirror image: 1/29 from the other side.
        (28, 29, 0.8282, 0.9939),
        (29, 29, 0.8830, 1.0),
        (0, 5, 0.0, 0.4345),
        (3, 8, 0.1368, 0.6943),
        (5, 25, 0.0886, 0.3913),
        (8, 8, 0.6756, 1.0),
    ];
    let groups = TABLE.map(|(at, visited, ..)| {
        (0..visited)
            .map(|field| if field < at { 1.5 } else { 0.5 })
            .collect()
    });
    let full = county_weeks(&groups);
    let (lows, highs) = (numbers(&full, "share_low"), numbers(&full, "share_high"));
    assert_eq!(lows.len(), TABLE.len());
    for ((at, visited, low, high), (found_low, found_high)) in
        TABLE.into_iter().zip(lows.into_iter().zip(highs))
    {
        assert_near(
            found_low,
            low,
            1e-4,
            &format!("lower end of {at}/{visited}"),
        );
        assert_near(
            found_high,
            high,
            1e-4,
            &format!("upper end of {at}/{visited}"),
        );
        // The ends of the scale are reached exactly, never missed by a last digit.
        assert_eq!(found_low == 0.0, at == 0, "{at}/{visited}");
        assert_eq!(found_high == 1.0, at == visited, "{at}/{visited}");
    }
    // Public rows have theirs from the library: the same, out of the same table.
    for (at, visited, low, high) in TABLE {
        let ends = wilson(at as u32, visited as u32).expect("some fields");
        assert_near(ends[0], low, 1e-4, &format!("lower end of {at}/{visited}"));
        assert_near(ends[1], high, 1e-4, &format!("upper end of {at}/{visited}"));
        assert_eq!(ends[0] == 0.0, at == 0, "{at}/{visited}");
        assert_eq!(ends[1] == 1.0, at == visited, "{at}/{visited}");
    }
    assert_eq!(wilson(0, 0), None);
}

// --- Quantiles -----------------------------------------------------------------------------------

#[test]
fn the_ninth_decile_is_interpolated_in_full_precision() {
    // Eight pressures whose ninth decile is 2.3 by hand: place 0.9 x 7 = 6.3, so 2.0 + 0.3 x (3.0 - 2.0).
    // An engine that rounds the weight to six decimals gives 2.299999.
    let pressures = vec![0.1, 0.2, 0.3, 0.7, 0.9, 1.1, 2.0, 3.0];
    let found = county_weeks(&[pressures]);
    assert_near(
        numbers(&found, "p90_pressure")[0],
        2.3,
        1e-12,
        "ninth decile",
    );
    assert_near(numbers(&found, "median_pressure")[0], 0.8, 1e-12, "median");
}

#[test]
fn a_two_stage_sample_has_the_statistics_worked_out_by_hand() {
    // Cochran, W.G. 1977, Sampling Techniques, 3rd ed., chapter 10 (from memory): the standard error is based on
    // the means of the primary units. By hand: head totals 3, 1 | 0, 4, 2 | 6; site means 2, 2, 6; field mean
    // 10/3; between sites (2 x (4/3)^2 + (8/3)^2) / 2 = 16/3; standard error sqrt(16/3 / 3) = 4/3; within
    // sites (2 + 8 + 0) / (6 - 3) = 10/3.
    let found = statistics_of(&json!([
        {"site": 1, "heads": [[0, 1, 0, 2, 0, 0], [0, 0, 0, 0, 1, 0]]},
        {"site": 2, "heads": [[0, 0, 0, 0, 0, 0], [4, 0, 0, 0, 0, 0], [0, 1, 0, 0, 1, 0]]},
        {"site": 3, "heads": [[1, 1, 1, 1, 1, 1]]},
    ]));
    assert_eq!((found.sites, found.units, found.total), (3, 6, 16));
    assert_near(found.field_mean, 10.0 / 3.0, 1e-14, "field mean");
    assert_near(
        found.variance_between_sites.unwrap_or(-1.0),
        16.0 / 3.0,
        1e-14,
        "between sites",
    );
    assert_near(
        found.standard_error.unwrap_or(-1.0),
        4.0 / 3.0,
        1e-14,
        "standard error",
    );
    assert_near(
        found.variance_within_sites.unwrap_or(-1.0),
        10.0 / 3.0,
        1e-14,
        "within sites",
    );
}

#[test]
fn a_trap_s_catch_is_taken_by_the_night() {
    // By hand: 28 moths in 7 nights are 4 a night, 30 in 7 are 4.2857.
    let traps = |catch| json!([{"site": 1, "traps": [{"catch": catch, "nights": 7}]}]);
    assert_eq!(statistics_of(&traps(28)).field_mean, 4.0);
    assert_near(
        statistics_of(&traps(30)).field_mean,
        4.2857,
        5e-5,
        "30 in 7 nights",
    );
    assert_eq!(statistics_of(&traps(30)).total, 30);
}
