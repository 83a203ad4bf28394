//! Degree-days from minimum and maximum against the heat of the hours of the same days, which the daily
//! methods approximate. How near each method comes is measured, printed and held within bounds. And sums of
//! whole years, read from a file, against those of pandas.

use std::collections::BTreeMap;
use std::ops::RangeInclusive;

use jiff::civil::{Date, date};
use scouting::phenology::degree_days::{DailyHeat, DayTemperatures, HeatRule, Method};
use scouting::phenology::weather::read_weather;
use serde::Deserialize;

use crate::judge::python;

/// A day of an hourly record.
#[derive(Deserialize)]
struct HourlyDay {
    date: Date,
    min_c: f64,
    max_c: f64,
    /// Degree-days (°C) of the hours.
    heat: f64,
}

const METHODS: [Method; 2] = [Method::AverageThenBase, Method::SingleSine];

/// How near a method comes to the hours of a season.
#[derive(Debug, Clone, Copy)]
struct Nearness {
    /// Sum of the method over the sum of the hours, less 1.
    season: f64,
    /// Root of the mean square of the daily differences, degree-days.
    daily: f64,
}

fn hourly(base_c: f64) -> BTreeMap<String, Vec<HourlyDay>> {
    let text = python("tests/reference/hourly_heat.py", &[&base_c.to_string()]);
    serde_json::from_str(&text).expect("hourly records")
}

/// Places whose afternoons are spikes of the day, so that the mean of minimum and maximum is above the
/// mean of the hours: every daily method gives too much there, and one that gives too little elsewhere can come
/// nearer by chance.
const SPIKY: &str = "San Francisco";

/// Compares in some months of the year.
fn nearness(
    days: &[HourlyDay],
    method: Method,
    base_c: f64,
    months: RangeInclusive<i8>,
) -> Nearness {
    let rule = HeatRule::new(method, base_c).expect("a rule that fits");
    let record = days.iter().map(|day| {
        let temperatures = DayTemperatures::new(day.min_c, day.max_c).expect("a day of weather");
        (day.date, temperatures)
    });
    let heat = DailyHeat::of(&record.collect(), rule);
    let (mut ours, mut truth, mut squares, mut count) = (0.0, 0.0, 0.0, 0.0);
    for day in days.iter().filter(|day| months.contains(&day.date.month())) {
        let (found, hours) = (heat.on(day.date).expect("a day"), day.heat);
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
    base_c: f64,
    months: RangeInclusive<i8>,
) -> [Nearness; METHODS] {
    methods.map(|method| nearness(days, method, base_c, months.clone()))
}

/// Sunflower's base and season: few nights fall below 6.7 °C, so that the methods agree with each other, and what
/// is left is how far the mean of minimum and maximum is from the mean of the hours.
#[test]
fn a_warm_season_is_near_its_hours_by_every_method() {
    for (place, days) in hourly(6.7) {
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
fn the_sine_is_nearer_than_the_average_where_nights_fall_below_the_base() {
    for (place, days) in hourly(11.1) {
        println!("{place}, March to May, base 11.1 °C");
        let [average, sine] = all(&days, METHODS, 11.1, 3..=5);
        let most = if place == SPIKY { 0.20 } else { 0.12 };
        assert!(
            sine.season.abs() <= most && sine.daily <= 0.5,
            "{place}: {sine:?}"
        );
        if place != SPIKY {
            assert!(sine.daily < average.daily, "{place}: {sine:?}, {average:?}");
        }
        // The average loses the warm hours of cool days.
        assert!(average.season < sine.season, "{place}");
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
    let series = read_weather(&file, &[], None).expect("a weather file");
    let [seattle] = <[_; 1]>::try_from(series).expect("one station");
    assert_eq!(
        (seattle.station.as_str(), seattle.days.len()),
        ("seattle", 1_461)
    );
    assert!(seattle.filled.is_empty() && seattle.missing.is_empty());
    let rule = HeatRule::new(Method::AverageThenBase, 10.0);
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
