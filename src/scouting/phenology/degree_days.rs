//! Degree-days of a day from its minimum and maximum temperature. Pure: it reads no file and knows no crop.
//!
//! All temperatures are degrees Celsius (`_c`) and all heat is in Celsius degree-days; 1.8 Fahrenheit
//! degree-days are one of them.
//!
//! Sources: the average after McMaster, G.S. & Wilhelm, W.W. 1997, Agric. For. Meteorol. 87:291–300; the single
//! sine after Baskerville, G.L. & Emin, P. 1969, Ecology 50:514–517 (citation from memory), whose values the tests
//! hold as Zalom, F.G., Goodell, P.B., Wilson, L.T., Barnett, W.W. & Bentley, W.J. 1983, Degree-days: the
//! calculation and use of heat units in pest management, University of California leaflet, prints them in Table 7.

use std::collections::BTreeMap;
use std::f64::consts::{FRAC_PI_2, PI};

use jiff::civil::Date;
use serde::Deserialize;

/// Fahrenheit degree-days in one Celsius degree-day: the ratio of the two degrees, exact.
pub const FAHRENHEIT_DEGREE_DAYS: f64 = 1.8;

/// Temperatures that air near the ground has had, with room: the records are about −89 and 57 °C (World
/// Meteorological Organization's archive of extremes, from memory).
pub const AIR_C: [f64; 2] = [-90.0, 60.0];

/// Degrees Celsius of degrees Fahrenheit.
pub fn celsius(fahrenheit: f64) -> f64 {
    (fahrenheit - 32.0) / FAHRENHEIT_DEGREE_DAYS
}

/// How the course of a day is imagined between its minimum and its maximum.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Method {
    /// The mean of minimum and maximum, less the base, never below 0: method 1 of McMaster & Wilhelm 1997.
    AverageThenBase,
    /// A sine from the minimum to the maximum and back. It is nearer to the hours than the average where nights
    /// fall below the base.
    SingleSine,
}

/// A day's minimum and maximum: in the range of air, and the minimum not above the maximum.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct DayTemperatures {
    min_c: f64,
    max_c: f64,
}

impl DayTemperatures {
    /// The day's temperatures, °C; otherwise what is wrong with them, in words for whoever wrote them.
    pub fn new(min_c: f64, max_c: f64) -> Result<DayTemperatures, String> {
        let [lowest, highest] = AIR_C;
        // Written so that a number that is none is refused as well.
        for (name, value) in [("minimum", min_c), ("maximum", max_c)] {
            if !(lowest..=highest).contains(&value) {
                return Err(format!(
                    "the {name} of {value:.1} °C is not between {lowest} and {highest} °C"
                ));
            }
        }
        if min_c > max_c {
            return Err(format!(
                "the minimum of {min_c:.1} °C is above the maximum of {max_c:.1} °C"
            ));
        }
        Ok(DayTemperatures { min_c, max_c })
    }

    /// Minimum, °C.
    pub fn min_c(self) -> f64 {
        self.min_c
    }

    /// Maximum, °C.
    pub fn max_c(self) -> f64 {
        self.max_c
    }
}

/// A method with its base temperature: how heat is counted.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct HeatRule {
    method: Method,
    base_c: f64,
}

impl HeatRule {
    /// The rule; otherwise what is wrong with the base, °C, in words for whoever wrote the model.
    pub fn new(method: Method, base_c: f64) -> Result<HeatRule, String> {
        let [lowest, highest] = AIR_C;
        match (lowest..=highest).contains(&base_c) {
            true => Ok(HeatRule { method, base_c }),
            false => Err(format!("a base of {base_c} °C is no temperature of air")),
        }
    }

    /// Degree-days (°C) of a day.
    pub fn degree_days_c(self, day: DayTemperatures) -> f64 {
        let DayTemperatures { min_c, max_c } = day;
        let mean_c = (min_c + max_c) / 2.0;
        match self.method {
            Method::SingleSine if min_c < self.base_c && self.base_c < max_c => {
                let amplitude = (max_c - min_c) / 2.0;
                let angle = ((self.base_c - mean_c) / amplitude).clamp(-1.0, 1.0).asin();
                ((mean_c - self.base_c) * (FRAC_PI_2 - angle) + amplitude * angle.cos()) / PI
            }
            // A sine that never crosses the base has the heat of its mean.
            Method::AverageThenBase | Method::SingleSine => (mean_c - self.base_c).max(0.0),
        }
    }
}

/// Heat by day, °C degree-days; a day whose temperatures are not known is not in it.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct DailyHeat {
    days: BTreeMap<Date, f64>,
}

impl DailyHeat {
    /// The heat of each day of a record by a rule.
    pub fn of(record: &BTreeMap<Date, DayTemperatures>, rule: HeatRule) -> DailyHeat {
        let heat = record.iter();
        DailyHeat {
            days: heat
                .map(|(date, day)| (*date, rule.degree_days_c(*day)))
                .collect(),
        }
    }

    /// The heat of a day, if it is known.
    pub fn on(&self, date: Date) -> Option<f64> {
        self.days.get(&date).copied()
    }

    /// The last day that is known.
    pub fn known_through(&self) -> Option<Date> {
        self.days.keys().next_back().copied()
    }

    /// The same without the days after one: what was known then.
    pub fn through(&self, date: Date) -> DailyHeat {
        let days = self.days.range(..=date);
        DailyHeat {
            days: days.map(|(date, heat)| (*date, *heat)).collect(),
        }
    }

    /// The sum of the days from one to another, both included; none if a day of them is not known, for a sum
    /// without it would look like cold weather.
    pub fn accumulated(&self, from: Date, to: Date) -> Option<f64> {
        let mut sum = 0.0;
        let mut date = from;
        while date <= to {
            sum += self.on(date)?;
            date = date.tomorrow().ok()?;
        }
        Some(sum)
    }

    /// The heat of the last days that are known, the latest first, at most so many.
    pub fn latest(&self, days: usize) -> Vec<f64> {
        self.days.values().rev().take(days).copied().collect()
    }
}

#[cfg(test)]
mod tests {
    //! What any right computation of heat has, whatever the temperatures.

    use proptest::prelude::*;

    use super::*;

    fn rule(method: Method, base_c: f64) -> HeatRule {
        HeatRule::new(method, base_c).unwrap()
    }

    fn day(min_c: f64, max_c: f64) -> DayTemperatures {
        DayTemperatures::new(min_c, max_c).unwrap()
    }

    fn any_method() -> impl Strategy<Value = Method> {
        prop::sample::select(vec![Method::AverageThenBase, Method::SingleSine])
    }

    /// Minimum and maximum.
    fn any_day() -> impl Strategy<Value = (f64, f64)> {
        (-30.0..40.0f64, 0.0..20.0f64).prop_map(|(min, span)| (min, min + span))
    }

    proptest! {
        #![proptest_config(ProptestConfig { failure_persistence: None, ..ProptestConfig::with_cases(512) })]

        #[test]
        fn heat_is_never_negative_and_no_more_than_the_maximum_gives(
            method in any_method(), (min, max) in any_day(), base in -5.0..20.0f64,
        ) {
            let heat = rule(method, base).degree_days_c(day(min, max));
            prop_assert!((0.0..=(max - base).max(0.0) + 1e-9).contains(&heat), "{heat}");
        }

        #[test]
        fn warmer_is_never_less_heat(
            method in any_method(), (min, max) in any_day(), base in -5.0..20.0f64, more in 0.0..5.0f64,
        ) {
            let rule = rule(method, base);
            let heat = rule.degree_days_c(day(min, max));
            let warmer_day = rule.degree_days_c(day(min, (max + more).min(60.0)));
            let warmer_night = rule.degree_days_c(day((min + more).min(max), max));
            for warmer in [warmer_day, warmer_night] {
                prop_assert!(warmer >= heat - 1e-9, "{warmer} after {heat}");
            }
        }

        #[test]
        fn a_day_below_the_base_has_no_heat(
            method in any_method(), (min, max) in any_day(), above in 0.0..10.0f64,
        ) {
            let rule = rule(method, (max + above).min(60.0));
            prop_assert_eq!(rule.degree_days_c(day(min, max)), 0.0);
        }

        /// The closed form against what it represents: the mean over many moments of a course drawn out.
        #[test]
        fn heat_of_the_sine_is_the_integral_of_its_course(
            (min, max) in any_day(), base in -5.0..20.0f64,
        ) {
            const MOMENTS: usize = 20_000;
            // From the minimum at the start to the maximum at the end; the way back has as much.
            let moments = (0..MOMENTS).map(|moment| (moment as f64 + 0.5) / MOMENTS as f64);
            let course = |time: f64| min + (max - min) * (1.0 - (PI * time).cos()) / 2.0;
            let sum: f64 = moments.map(|time| (course(time) - base).max(0.0)).sum();
            let mean = sum / MOMENTS as f64;
            let heat = rule(Method::SingleSine, base).degree_days_c(day(min, max));
            prop_assert!((heat - mean).abs() <= 1e-6, "{heat} {mean}");
        }

        /// A Fahrenheit degree is 5/9 of a Celsius one, so a day stretched by 1.8 has 1.8 times the heat.
        #[test]
        fn heat_scales_with_the_degree(
            method in any_method(), (min, max) in any_day(), base in -5.0..20.0f64,
        ) {
            let heat = |scale: f64| {
                rule(method, base * scale).degree_days_c(day(min * scale, max * scale))
            };
            let (small, large) = (heat(1.0 / FAHRENHEIT_DEGREE_DAYS), heat(1.0));
            prop_assert!((large - FAHRENHEIT_DEGREE_DAYS * small).abs() < 1e-9, "{large} of {small}");
        }
    }
}
