//! From a stage seen in a field to the days on which the field reaches its treatment stage, worked out by hand
//! on invented weather.

use jiff::ToSpan;
use jiff::civil::{Date, date};
use scouting::phenology::degree_days::DayTemperatures;
use scouting::phenology::development::Development;
use scouting::phenology::spray_window::{
    Basis, NoWindow, Observed, SprayWindow, StationHeat, window_by_days, window_by_weather,
};
use scouting::phenology::weather::WeatherSeries;
use scouting::visit::stage::Stage;

/// Part of the table of Manitoba Agriculture, Food and Rural Development 2014; 5 to 8 days to the hatch are
/// standard practice; no published source.
fn development() -> Development {
    let text = r#"
        [crop]
        base_c = 6.7
        method = "average-then-base"
        from = "planting"
        source = "Manitoba Agriculture, Food and Rural Development 2014"
        stages = { R1 = 569, R2 = 647, R3 = 726, R4 = 805, "R5.1" = 883, "R5.5" = 962, R6 = 1040 }
        [hatch]
        days = [5, 8]
        source = "standard practice; no published source"
        [without_weather]
        days_to_treatment = { R2 = [9, 23], R3 = [4, 16], R4 = [0, 8] }
        source = "computed from the crop's table at means of 17 to 24 °C"
    "#;
    toml::from_str(text).unwrap()
}

fn observed(stage: &str, on: Date) -> Observed {
    let stage = Stage::parse(stage).unwrap();
    Observed {
        stage,
        on,
        found: true,
    }
}

fn treat_at() -> Stage {
    Stage::parse("R5.1").unwrap()
}

/// A station with a mean temperature, °C, for each day from the first of June.
fn station(mean_c: impl Fn(usize) -> f64, days: usize) -> WeatherSeries {
    let dates = date(2026, 6, 1).series(1.day()).take(days).enumerate();
    let days = dates.map(|(number, date)| {
        let mean_c = mean_c(number);
        (
            date,
            DayTemperatures::new(mean_c - 6.0, mean_c + 6.0).unwrap(),
        )
    });
    WeatherSeries {
        station: "invented".to_owned(),
        days: days.collect(),
        filled: Vec::new(),
        missing: Vec::new(),
        left_out: 0,
        read_in_the_morning: 0,
    }
}

fn window(stage: &str, on: Date, series: &WeatherSeries) -> Result<SprayWindow, NoWindow> {
    let development = development();
    let heat = StationHeat::of(series, &development).unwrap();
    window_by_weather(&development, treat_at(), observed(stage, on), &heat)
}

/// 16.7 °C is 10 degree-days a day. R3 is 78 to 157 from R5.1: the eighth day with the visit's, and the
/// sixteenth after it.
#[test]
fn the_window_of_known_weather_is_the_width_of_the_stage() {
    let warm = station(|_| 16.7, 90);
    let visit = date(2026, 7, 10);
    let found = window("R3", visit, &warm).unwrap();
    assert_eq!(
        (found.opens, found.closes),
        (date(2026, 7, 17), date(2026, 7, 26))
    );
    assert_eq!(found.hatch_from, Some(visit));
    assert_eq!(found.hatch_to, Some(date(2026, 7, 18)));
    let through = date(2026, 8, 29);
    let station = "invented".to_owned();
    assert_eq!(found.basis, Basis::Weather { station, through });
    let field_at_r4 = window("R4", visit, &warm).unwrap();
    assert_eq!(
        (field_at_r4.opens, field_at_r4.closes),
        (visit, date(2026, 7, 18))
    );
    // R5 alone does not say whether it is R5.0 or R5.9.
    let flowering = window("R5", visit, &warm).unwrap();
    assert_eq!(
        (flowering.opens, flowering.closes),
        (visit, date(2026, 7, 18))
    );
}

/// The last 14 days have 6, 7 … 19 degree-days: the 10th percentile is 7.3, the 90th 17.7, the mean 12.5.
#[test]
fn days_to_come_have_the_percentiles_of_the_last_two_weeks() {
    let rising = station(|number| 6.7 + 6.0 + number as f64, 14);
    let heat = StationHeat::of(&rising, &development()).unwrap();
    let outlook = heat.outlook().unwrap();
    for (found, expected) in [
        (outlook.low, 7.3),
        (outlook.mean, 12.5),
        (outlook.high, 17.7),
    ] {
        assert!((found - expected).abs() < 1e-9, "{outlook:?}");
    }
    // From the last known day, 14 June with 19: 78 needs 19 and four times 17.7, 157 needs 22 times 7.3.
    let found = window("R3", date(2026, 6, 14), &rising).unwrap();
    assert_eq!(
        (found.opens, found.closes),
        (date(2026, 6, 18), date(2026, 7, 6))
    );
}

#[test]
fn known_weather_narrows_the_window_and_never_leaves_it() {
    let season = station(|number| 18.0 + 4.0 * f64::sin(number as f64), 90);
    let development = development();
    let heat = StationHeat::of(&season, &development).unwrap();
    let visit = date(2026, 7, 5);
    let at = observed("R2", visit);
    let known_on = |day: Date| {
        let then = heat.through(day);
        window_by_weather(&development, treat_at(), at, &then).unwrap()
    };
    let last = known_on(date(2026, 8, 20));
    for day in visit.series(1.day()).take(30) {
        let then = known_on(day);
        assert!(
            then.opens <= last.opens && last.closes <= then.closes,
            "{day}: {then:?}"
        );
    }
    let by_days = window_by_days(&development, treat_at(), at).unwrap();
    assert!(
        by_days.opens <= last.opens && last.closes <= by_days.closes,
        "{by_days:?}"
    );
}

#[test]
fn without_weather_the_days_of_the_file_stand_and_say_so() {
    let found = window_by_days(
        &development(),
        treat_at(),
        observed("R3", date(2026, 7, 20)),
    );
    let expected = SprayWindow {
        opens: date(2026, 7, 24),
        closes: date(2026, 8, 5),
        hatch_from: Some(date(2026, 7, 20)),
        hatch_to: Some(date(2026, 7, 28)),
        basis: Basis::Days,
    };
    assert_eq!(found, Ok(expected));
    let too_early = window_by_days(
        &development(),
        treat_at(),
        observed("V8", date(2026, 7, 20)),
    );
    assert_eq!(too_early, Err(NoWindow::NotInModel));
}

#[test]
fn what_is_not_known_is_not_told() {
    let visit = date(2026, 7, 10);
    let warm = station(|_| 16.7, 90);
    assert_eq!(window("R5.1", visit, &warm), Err(NoWindow::StageReached));
    assert_eq!(window("R9", visit, &warm), Err(NoWindow::StageReached));
    assert_eq!(window("V8", visit, &warm), Err(NoWindow::NotInModel));
    let few = station(|_| 16.7, 13);
    let soon = date(2026, 6, 14);
    assert_eq!(window("R3", soon, &few), Err(NoWindow::FewDays(13)));
    let ended = station(|_| 16.7, 20);
    let stale = Err(NoWindow::Stale(date(2026, 6, 20)));
    assert_eq!(window("R3", date(2026, 6, 28), &ended), stale);
    assert!(window("R3", date(2026, 6, 27), &ended).is_ok());
    let cold = station(|_| 6.0, 40);
    assert_eq!(window("R3", visit, &cold), Err(NoWindow::TooCold));
    let mut torn = warm;
    torn.days.remove(&date(2026, 7, 20));
    assert_eq!(
        window("R3", visit, &torn),
        Err(NoWindow::Gap(date(2026, 7, 20)))
    );
}

/// An invented hatch model, to see that it is counted by its own base: 50 to 80 degree-days over 10.7 °C.
#[test]
fn hatch_by_heat_counts_by_its_own_base() {
    let mut development = development();
    let text = "base_c = 10.7\nmethod = \"average-then-base\"\ndegree_days = [50, 80]\nsource = \"invented for a test\"";
    development.hatch = Some(toml::from_str(text).unwrap());
    let heat = StationHeat::of(&station(|_| 20.7, 90), &development).unwrap();
    let at = observed("R3", date(2026, 7, 10));
    let found = window_by_weather(&development, treat_at(), at, &heat).unwrap();
    assert_eq!(found.hatch_from, Some(date(2026, 7, 10)));
    assert_eq!(found.hatch_to, Some(date(2026, 7, 18)));
    let by_days = window_by_days(&development, treat_at(), at).unwrap();
    assert_eq!(by_days.hatch_from, None);
}

/// Eggs seen on a visit were laid over the days before it. With laying at an even rate and 5 to 8 days to the hatch, no
/// egg seen hatches later than 8 days after, and some hatch on the day; none hatches where none was found.
#[test]
fn eggs_of_a_visit_hatch_from_that_day_on_and_none_hatch_where_none_was_found() {
    let visit = date(2026, 7, 20);
    let with = observed("R3", visit);
    let without = Observed {
        found: false,
        ..with
    };
    let warm = station(|_| 16.7, 90);
    let heat = StationHeat::of(&warm, &development()).unwrap();
    let both = |at| {
        [
            window_by_days(&development(), treat_at(), at).unwrap(),
            window_by_weather(&development(), treat_at(), at, &heat).unwrap(),
        ]
    };
    for found in both(with) {
        assert_eq!(found.hatch_from, Some(visit));
        assert_eq!(found.hatch_to, Some(visit + 8.days()));
    }
    for none in both(without) {
        assert_eq!((none.hatch_from, none.hatch_to), (None, None));
    }
    // Every egg laid each quarter of a day, each hatch time from 5 to 8 days: those unhatched at the visit.
    let mut days_to_hatch = Vec::new();
    for laid_before in (0..=32).map(|quarter| f64::from(quarter) / 4.0) {
        for takes in (20..=32).map(|quarter| f64::from(quarter) / 4.0) {
            let left: f64 = takes - laid_before;
            days_to_hatch.extend((left >= 0.0).then_some(left));
        }
    }
    let within = |left: &&f64| **left <= 8.0;
    assert_eq!(
        days_to_hatch.iter().filter(within).count(),
        days_to_hatch.len()
    );
    assert!(days_to_hatch.iter().any(|left| *left < 1.0));
    // The former span began after 5 days, and missed most of them.
    let after_five = days_to_hatch.iter().filter(|left| **left >= 5.0).count();
    assert!(after_five * 2 < days_to_hatch.len(), "{after_five}");
}
