//! Degree-days of a day from its minimum and maximum temperature. Pure: it reads no file and knows no crop.
//!
//! All temperatures are degrees Celsius (`_c`) and all heat is in Celsius degree-days; 1.8 Fahrenheit
//! degree-days are one of them.
//!
//! Sources: the triangle and sine methods and the cut-offs as in Zalom, F.G., Goodell, P.B., Wilson, L.T.,
//! Barnett, W.W. & Bentley, W.J. 1983, Degree-days: the calculation and use of heat units in pest management,
//! University of California leaflet, whose Table 7 the tests hold; the single sine after Baskerville, G.L. &
//! Emin, P. 1969, Ecology 50:514–517 (citation from memory); the two readings of the average after
//! McMaster, G.S. & Wilhelm, W.W. 1997, Agric. For. Meteorol. 87:291–300.

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
    /// Minimum and maximum are each raised to the base, then averaged: method 2 of the same paper. It gives
    /// more than method 1 on every day whose minimum is below the base.
    BaseThenAverage,
    /// Straight lines from the minimum to the maximum and back.
    SingleTriangle,
    /// Straight lines from the minimum to the maximum and to the next day's minimum.
    DoubleTriangle,
    /// A sine from the minimum to the maximum and back.
    SingleSine,
    /// A sine from the minimum to the maximum, another to the next day's minimum.
    DoubleSine,
}

/// What becomes of heat above the upper temperature.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Cutoff {
    /// It counts in full: there is no upper temperature.
    #[default]
    None,
    /// Development goes on at the rate of the upper temperature.
    Horizontal,
    /// Each degree above takes a degree away.
    Intermediate,
    /// Development stops while it is warmer.
    Vertical,
}

/// The temperatures between which development goes on.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Thresholds {
    /// Base temperature, °C.
    pub lower_c: f64,
    /// Upper temperature, °C, where the model has one.
    pub upper_c: Option<f64>,
}

/// A day's minimum and maximum: in the range of air, and the minimum not above the maximum.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct DayTemperatures {
    min_c: f64,
    max_c: f64,
}

impl DayTemperatures {
    /// The day's temperatures, °C; otherwise what is wrong with them, in words for their author.
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

/// A method with its temperatures and cut-off: how heat is counted.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct HeatRule {
    method: Method,
    thresholds: Thresholds,
    cutoff: Cutoff,
}

impl HeatRule {
    /// The rule, if its parts fit together; otherwise what does not, in words for the author of the model.
    pub fn new(method: Method, thresholds: Thresholds, cutoff: Cutoff) -> Result<HeatRule, String> {
        let Thresholds { lower_c, upper_c } = thresholds;
        let [lowest, highest] = AIR_C;
        if !(lowest..=highest).contains(&lower_c) {
            return Err(format!("a base of {lower_c} °C is no temperature of air"));
        }
        match (upper_c, cutoff) {
            (None, Cutoff::None) => {}
            (None, _) => return Err("a cut-off needs an upper temperature".to_owned()),
            (Some(_), Cutoff::None) => {
                return Err(
                    "an upper temperature needs a cut-off: horizontal, intermediate or vertical"
                        .to_owned(),
                );
            }
            (Some(upper_c), _) if !(lower_c < upper_c && upper_c <= highest) => {
                return Err(format!(
                    "an upper temperature of {upper_c} °C is not above the base of {lower_c} °C"
                ));
            }
            (Some(_), _) => {}
        }
        let averages = matches!(method, Method::AverageThenBase | Method::BaseThenAverage);
        if averages && matches!(cutoff, Cutoff::Intermediate | Cutoff::Vertical) {
            return Err(
                "an average has no hours, so it takes a horizontal cut-off or none".to_owned(),
            );
        }
        Ok(HeatRule {
            method,
            thresholds,
            cutoff,
        })
    }

    /// Degree-days (°C) of a day. `next_min_c` is the next day's minimum; only the double methods look at it,
    /// and where it is not known the day's own minimum is used for it, which is the single method.
    pub fn degree_days_c(self, day: DayTemperatures, next_min_c: Option<f64>) -> f64 {
        let DayTemperatures { min_c, max_c } = day;
        let next_min_c = next_min_c.unwrap_or(min_c);
        match self.method {
            Method::AverageThenBase => {
                let mean = (self.capped(min_c) + self.capped(max_c)) / 2.0;
                (mean - self.thresholds.lower_c).max(0.0)
            }
            Method::BaseThenAverage => {
                let lower_c = self.thresholds.lower_c;
                let raised = |value: f64| self.capped(value).max(lower_c);
                (raised(min_c) + raised(max_c)) / 2.0 - lower_c
            }
            Method::SingleTriangle => self.between(Course::Line, min_c, max_c),
            Method::SingleSine => self.between(Course::Sine, min_c, max_c),
            Method::DoubleTriangle => self.halves(Course::Line, day, next_min_c),
            Method::DoubleSine => self.halves(Course::Sine, day, next_min_c),
        }
    }

    /// The horizontal cut-off of an average.
    fn capped(self, value_c: f64) -> f64 {
        self.thresholds
            .upper_c
            .map_or(value_c, |upper_c| value_c.min(upper_c))
    }

    /// Two half days with the same maximum and two minima.
    fn halves(self, course: Course, day: DayTemperatures, next_min_c: f64) -> f64 {
        let first = self.between(course, day.min_c, day.max_c);
        // A warm front can bring a next minimum above this day's maximum; the half day then climbs.
        let (low, high) = (next_min_c.min(day.max_c), next_min_c.max(day.max_c));
        (first + self.between(course, low, high)) / 2.0
    }

    /// Degree-days of a day, or twice those of a half day, whose temperature runs between two values.
    fn between(self, course: Course, low_c: f64, high_c: f64) -> f64 {
        let Thresholds { lower_c, upper_c } = self.thresholds;
        let excess = |over_c: f64| course.excess(low_c, high_c, over_c);
        let Some(upper_c) = upper_c else {
            return excess(lower_c);
        };
        let heat = match self.cutoff {
            Cutoff::None => excess(lower_c),
            Cutoff::Horizontal => excess(lower_c) - excess(upper_c),
            Cutoff::Intermediate => excess(lower_c) - 2.0 * excess(upper_c),
            Cutoff::Vertical => {
                let share_above = course.share_above(low_c, high_c, upper_c);
                excess(lower_c) - excess(upper_c) - (upper_c - lower_c) * share_above
            }
        };
        heat.max(0.0)
    }
}

/// The form of a day's course.
#[derive(Debug, Clone, Copy)]
enum Course {
    Line,
    Sine,
}

impl Course {
    /// The mean over the day of what is above a temperature, degrees.
    fn excess(self, low: f64, high: f64, over: f64) -> f64 {
        if over >= high {
            return 0.0;
        }
        let mean = (low + high) / 2.0;
        if over <= low {
            return mean - over;
        }
        match self {
            Course::Line => (high - over).powi(2) / (2.0 * (high - low)),
            Course::Sine => {
                let amplitude = (high - low) / 2.0;
                let angle = ((over - mean) / amplitude).clamp(-1.0, 1.0).asin();
                ((mean - over) * (FRAC_PI_2 - angle) + amplitude * angle.cos()) / PI
            }
        }
    }

    /// The share of the day that is warmer than a temperature.
    fn share_above(self, low: f64, high: f64, over: f64) -> f64 {
        if over >= high {
            return 0.0;
        }
        if over <= low {
            return 1.0;
        }
        match self {
            Course::Line => (high - over) / (high - low),
            Course::Sine => {
                let angle = ((over - (low + high) / 2.0) / ((high - low) / 2.0)).clamp(-1.0, 1.0);
                (FRAC_PI_2 - angle.asin()) / PI
            }
        }
    }
}

/// Heat by day, °C degree-days; a day whose temperatures are not known is not in it.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct DailyHeat {
    days: BTreeMap<Date, f64>,
}

impl DailyHeat {
    /// The heat of each day of a record by a rule. The last day before a gap takes its own minimum where the
    /// rule looks at the next day's.
    pub fn of(record: &BTreeMap<Date, DayTemperatures>, rule: HeatRule) -> DailyHeat {
        let heat = record.iter().map(|(date, day)| {
            let next = date.tomorrow().ok().and_then(|next| record.get(&next));
            let next_min_c = next.map(|next| next.min_c());
            (*date, rule.degree_days_c(*day, next_min_c))
        });
        DailyHeat {
            days: heat.collect(),
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

    fn rule(method: Method, lower_c: f64, upper_c: Option<f64>) -> HeatRule {
        let cutoff = upper_c.map_or(Cutoff::None, |_| Cutoff::Horizontal);
        HeatRule::new(method, Thresholds { lower_c, upper_c }, cutoff).unwrap()
    }

    fn day(min_c: f64, max_c: f64) -> DayTemperatures {
        DayTemperatures::new(min_c, max_c).unwrap()
    }

    fn any_method() -> impl Strategy<Value = Method> {
        prop::sample::select(vec![
            Method::AverageThenBase,
            Method::BaseThenAverage,
            Method::SingleTriangle,
            Method::DoubleTriangle,
            Method::SingleSine,
            Method::DoubleSine,
        ])
    }

    /// Minimum and maximum, and a next minimum that is not above the maximum.
    fn any_day() -> impl Strategy<Value = (f64, f64, f64)> {
        (-30.0..40.0f64, 0.0..20.0f64, -10.0..10.0f64).prop_map(|(min, span, change)| {
            let max = min + span;
            (min, max, (min + change).min(max))
        })
    }

    proptest! {
        #![proptest_config(ProptestConfig { failure_persistence: None, ..ProptestConfig::with_cases(512) })]

        #[test]
        fn a_cutoff_never_adds_heat_and_heat_is_never_negative(
            method in any_method(), (min, max, next) in any_day(), lower in -5.0..20.0f64, width in 1.0..25.0f64,
        ) {
            let day = day(min, max);
            let full = rule(method, lower, None).degree_days_c(day, Some(next));
            let cut = |cutoff| {
                let upper_c = Some(lower + width);
                HeatRule::new(method, Thresholds { lower_c: lower, upper_c }, cutoff)
                    .ok()
                    .map(|rule| rule.degree_days_c(day, Some(next)))
            };
            let horizontal = cut(Cutoff::Horizontal).expect("every method takes it");
            prop_assert!((0.0..=full + 1e-9).contains(&horizontal), "{horizontal} of {full}");
            prop_assert!(horizontal <= width + 1e-9, "{horizontal} within {width} degrees");
            for cutoff in [Cutoff::Intermediate, Cutoff::Vertical] {
                if let Some(cut) = cut(cutoff) {
                    prop_assert!((0.0..=horizontal + 1e-9).contains(&cut), "{cutoff:?} {cut} of {horizontal}");
                }
            }
        }

        #[test]
        fn warmer_is_never_less_heat(
            method in any_method(), (min, max, next) in any_day(), lower in -5.0..20.0f64, more in 0.0..5.0f64,
            upper in prop::option::of(22.0..35.0f64),
        ) {
            let rule = rule(method, lower, upper);
            let base = rule.degree_days_c(day(min, max), Some(next));
            let warmer_day = rule.degree_days_c(day(min, (max + more).min(60.0)), Some(next));
            let warmer_night = rule.degree_days_c(day((min + more).min(max), max), Some(next));
            let warmer_next = rule.degree_days_c(day(min, max), Some((next + more).min(max)));
            for warmer in [warmer_day, warmer_night, warmer_next] {
                prop_assert!(warmer >= base - 1e-9, "{warmer} after {base}");
            }
        }

        #[test]
        fn a_day_below_the_base_has_no_heat(
            method in any_method(), (min, max, next) in any_day(), above in 0.0..10.0f64,
        ) {
            let base = rule(method, (max + above).min(60.0), None);
            prop_assert_eq!(base.degree_days_c(day(min, max), Some(next)), 0.0);
        }

        /// The closed forms against what they represent: the mean over many moments of a course drawn out.
    #[test]
    fn heat_is_the_integral_of_the_course(
        sine in any::<bool>(), (min, max, next) in any_day(), lower in -5.0..20.0f64, width in 1.0..25.0f64,
        cutoff in prop::sample::select(vec![Cutoff::Horizontal, Cutoff::Intermediate, Cutoff::Vertical]),
    ) {
        const MOMENTS: usize = 20_000;
        let upper = lower + width;
        let rate = |degrees: f64| match cutoff {
            Cutoff::None => (degrees - lower).max(0.0),
            Cutoff::Horizontal => (degrees.min(upper) - lower).max(0.0),
            Cutoff::Intermediate => (degrees - lower).max(0.0) - 2.0 * (degrees - upper).max(0.0),
            Cutoff::Vertical if degrees < upper => (degrees - lower).max(0.0),
            Cutoff::Vertical => 0.0,
        };
        // From the minimum at the start to the maximum at the end.
        let half = |low: f64| {
            let moments = (0..MOMENTS).map(|moment| (moment as f64 + 0.5) / MOMENTS as f64);
            let rise = |time: f64| if sine { (1.0 - (PI * time).cos()) / 2.0 } else { time };
            let sum: f64 = moments.map(|time| rate(low + (max - low) * rise(time))).sum();
            (sum / MOMENTS as f64).max(0.0)
        };
        let [single, double] = match sine {
            true => [Method::SingleSine, Method::DoubleSine],
            false => [Method::SingleTriangle, Method::DoubleTriangle],
        };
        let thresholds = Thresholds { lower_c: lower, upper_c: Some(upper) };
        let by = |method| HeatRule::new(method, thresholds, cutoff).unwrap().degree_days_c(day(min, max), Some(next));
        // A rate that drops at once is met to a moment, one that bends much nearer.
        let near = if cutoff == Cutoff::Vertical { width / MOMENTS as f64 } else { 1e-6 };
        prop_assert!((by(single) - half(min)).abs() <= near, "{} {}", by(single), half(min));
        let halves = (half(min) + half(next)) / 2.0;
        prop_assert!((by(double) - halves).abs() <= near, "{} {halves}", by(double));
    }

    /// A Fahrenheit degree is 5/9 of a Celsius one, so a day stretched by 1.8 has 1.8 times the heat.
        #[test]
        fn heat_scales_with_the_degree(
            method in any_method(), (min, max, next) in any_day(), lower in -5.0..20.0f64, width in 1.0..10.0f64,
        ) {
            let heat = |scale: f64| {
                let upper = Some((lower + width) * scale);
                rule(method, lower * scale, upper).degree_days_c(day(min * scale, max * scale), Some(next * scale))
            };
            let (small, large) = (heat(1.0 / FAHRENHEIT_DEGREE_DAYS), heat(1.0));
            prop_assert!((large - FAHRENHEIT_DEGREE_DAYS * small).abs() < 1e-9, "{large} of {small}");
        }
    }
}
