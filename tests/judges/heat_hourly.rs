//! Degree-days from minimum and maximum against the heat of the hours of the same days, which the daily
//! methods approximate. How near each method comes is measured, printed and held within bounds. And sums of
//! whole years, read from a file, against those of pandas.

use std::collections::BTreeMap;
use std::ops::RangeInclusive;

use jiff::civil::{Date, date};
use scouting::phenology::degree_days::{
    Cutoff, DailyHeat, DayTemperatures, HeatRule, Method, Thresholds,
};
use scouting::phenology::weather::read_weather;
use serde::Deserialize;

use crate::judge::python;

/// A day of an hourly record.
#[derive(Deserialize)]
struct HourlyDay {
    date: Date,
    min_c: f64,
    max_c: f64,
    heat: HourlyHeat,
}

/// Degree-days (°C) of the hours.
#[derive(Deserialize)]
struct HourlyHeat {
    none: f64,
    horizontal: f64,
    intermediate: f64,
    vertical: f64,
}

impl HourlyHeat {
    fn of(&self, cutoff: Cutoff) -> f64 {
        match cutoff {
            Cutoff::None => self.none,
            Cutoff::Horizontal => self.horizontal,
            Cutoff::Intermediate => self.intermediate,
            Cutoff::Vertical => self.vertical,
        }
    }
}

const METHODS: [Method; 6] = [
    Method::AverageThenBase,
    Method::BaseThenAverage,
    Method::SingleTriangle,
    Method::DoubleTriangle,
    Method::SingleSine,
    Method::DoubleSine,
];

/// How near a method comes to the hours of a season.
#[derive(Debug, Clone, Copy)]
struct Nearness {
    /// Sum of the method over the sum of the hours, less 1.
    season: f64,
    /// Root of the mean square of the daily differences, degree-days.
    daily: f64,
}

fn hourly(lower_c: f64, upper_c: f64) -> BTreeMap<String, Vec<HourlyDay>> {
    let arguments = [lower_c.to_string(), upper_c.to_string()];
    let arguments: Vec<&str> = arguments.iter().map(String::as_str).collect();
    let text = python("tests/reference/hourly_heat.py", &arguments);
    serde_json::from_str(&text).expect("hourly records")
}

/// Places whose afternoons are spikes of the day, so that the mean of minimum and maximum is above the
/// mean of the hours: every daily method gives too much there, and one that gives too little elsewhere can come
/// nearer by chance.
const SPIKY: &str = "San Francisco";

/// Compares in some months of the year; the doubles see the next day where the record has it.
fn nearness(
    days: &[HourlyDay],
    method: Method,
    thresholds: Thresholds,
    cutoff: Cutoff,
    months: RangeInclusive<i8>,
) -> Nearness {
    let rule = HeatRule::new(method, thresholds, cutoff).expect("a rule that fits");
    let record = days.iter().map(|day| {
        let temperatures = DayTemperatures::new(day.min_c, day.max_c).expect("a day of weather");
        (day.date, temperatures)
    });
    let heat = DailyHeat::of(&record.collect(), rule);
    let (mut ours, mut truth, mut squares, mut count) = (0.0, 0.0, 0.0, 0.0);
    for day in days.iter().filter(|day| months.contains(&day.date.month())) {
        let (found, hours) = (heat.on(day.date).expect("a day"), day.heat.of(cutoff));
        ours += found;
        truth += hours;
        squares += (found - hours).powi(2);
        count += 1.0;
    }
    assert!(
        count >= 80.0 && truth > 50.0,
        "{count} days, {truth} degree-days"
    );
    let nearness = Nearness {
        season: ours / truth - 1.0,
        daily: f64::sqrt(squares / count),
    };
    let of_season = 100.0 * nearness.season;
    println!("  {method:?} {of_season:+.1}%, {:.2} a day", nearness.daily);
    nearness
}

/// The same for several methods, in their order.
fn all<const METHODS: usize>(
    days: &[HourlyDay],
    methods: [Method; METHODS],
    lower_c: f64,
    months: RangeInclusive<i8>,
) -> [Nearness; METHODS] {
    let thresholds = Thresholds {
        lower_c,
        upper_c: None,
    };
    methods.map(|method| nearness(days, method, thresholds, Cutoff::None, months.clone()))
}

/// Sunflower's base and season: few nights fall below 6.7 °C, so that the methods agree with each other, and what
/// is left is how far the mean of minimum and maximum is from the mean of the hours.
#[test]
fn a_warm_season_is_near_its_hours_by_every_method() {
    for (place, days) in hourly(6.7, 32.0) {
        println!("{place}, May to September, base 6.7 °C");
        let most = if place == SPIKY { 0.08 } else { 0.03 };
        for near in all(&days, METHODS, 6.7, 5..=9) {
            assert!((-0.005..=most).contains(&near.season), "{place}: {near:?}");
            assert!(near.daily <= 0.8, "{place}: {near:?}");
        }
    }
}

/// Spring, with the base between night and noon: here the methods part.
#[test]
fn the_sine_is_nearer_than_the_averages_where_nights_fall_below_the_base() {
    for (place, days) in hourly(11.1, 32.0) {
        println!("{place}, March to May, base 11.1 °C");
        let [base_last, base_first, triangle, _, sine, _] = all(&days, METHODS, 11.1, 3..=5);
        let most = if place == SPIKY { 0.20 } else { 0.12 };
        for near in [triangle, sine] {
            assert!(
                near.season.abs() <= most && near.daily <= 0.5,
                "{place}: {near:?}"
            );
            assert!(
                near.daily < base_first.daily,
                "{place}: {near:?}, {base_first:?}"
            );
            assert!(
                near.season.abs() < base_first.season,
                "{place}: {near:?}, {base_first:?}"
            );
            if place != SPIKY {
                assert!(
                    near.daily < base_last.daily,
                    "{place}: {near:?}, {base_last:?}"
                );
            }
        }
        // One reading of the average loses the warm hours of cool days that the other gives too much for.
        assert!(
            base_last.season < sine.season && sine.season < base_first.season,
            "{place}"
        );
    }
}

/// Two temperatures that the days of a summer on the coast of New York cross often.
#[test]
fn the_cutoffs_are_near_their_hours() {
    let thresholds = Thresholds {
        lower_c: 15.0,
        upper_c: Some(25.0),
    };
    let places = hourly(15.0, 25.0);
    for (place, days) in places
        .iter()
        .filter(|(place, _)| place.starts_with("New York"))
    {
        for (cutoff, most, a_day) in [
            (Cutoff::Horizontal, 0.03, 0.6),
            (Cutoff::Intermediate, 0.03, 0.6),
            (Cutoff::Vertical, 0.05, 0.95),
        ] {
            println!("{place}, May to September, 15 to 25 °C, {cutoff:?}");
            let by = |method| nearness(days, method, thresholds, cutoff, 5..=9);
            let [triangle, twice, sine, double] = [
                Method::SingleTriangle,
                Method::DoubleTriangle,
                Method::SingleSine,
                Method::DoubleSine,
            ]
            .map(by);
            for near in [triangle, twice, sine, double] {
                assert!(
                    near.season.abs() <= most && near.daily <= a_day,
                    "{place}: {near:?}"
                );
            }
            if cutoff == Cutoff::Horizontal {
                for average in [Method::AverageThenBase, Method::BaseThenAverage].map(by) {
                    assert!(sine.daily < average.daily, "{place}: {sine:?}, {average:?}");
                }
            }
        }
    }
}

/// Four years of Seattle from the package vega_datasets, through a file of plain columns: the sums of pandas, and
/// the same to two decimals as they were computed before there was a line of ours.
#[test]
fn sums_of_years_read_from_a_file_are_those_of_pandas() {
    let folder = tempfile::tempdir().expect("a temporary folder");
    let file = folder.path().join("seattle.csv");
    let argument = file.display().to_string();
    let text = python("tests/reference/daily_temperatures.py", &[&argument]);
    let sums: BTreeMap<i16, f64> = serde_json::from_str(&text).expect("sums by year");
    let series = read_weather(&file, &[]).expect("a weather file");
    let [seattle] = <[_; 1]>::try_from(series).expect("one station");
    assert_eq!(
        (seattle.station.as_str(), seattle.days.len()),
        ("seattle", 1_461)
    );
    assert!(seattle.filled.is_empty() && seattle.missing.is_empty());
    let thresholds = Thresholds {
        lower_c: 10.0,
        upper_c: None,
    };
    let rule = HeatRule::new(Method::AverageThenBase, thresholds, Cutoff::None);
    let heat = DailyHeat::of(&seattle.days, rule.expect("a rule that fits"));
    for (year, earlier) in [
        (2012, 1133.40),
        (2013, 1369.25),
        (2014, 1490.20),
        (2015, 1541.05),
    ] {
        let found = heat.accumulated(date(year, 1, 1), date(year, 12, 31));
        let found = found.expect("a year without a gap");
        assert!(
            (found - sums[&year]).abs() < 1e-6,
            "{year}: {found}, {sums:?}"
        );
        assert!(
            (found - earlier).abs() < 0.005,
            "{year}: {found}, not {earlier}"
        );
    }
    assert_eq!(heat.accumulated(date(2015, 1, 1), date(2016, 1, 1)), None);
}
