//! Where a season ranks among those before it, by one figure.
//!
//! The percentile is that of the mean rank: the share of earlier values below, and half of those that are equal,
//! in per cent (scipy's `percentileofscore` with `kind="mean"`). Equal values are common: a quiet week is 0.

use crate::trend::season_course::WEEKS_JOINED;

/// Earlier seasons below which no percentile is given: with fewer than four, its steps are wider than a quarter,
/// so it could not tell in which quarter of the seasons this one is. Our choice.
pub const EARLIER_LEAST: usize = 4;

/// A value among those of earlier seasons.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct SeasonPlace {
    /// Earlier seasons that have a value.
    pub earlier: usize,
    /// Of them, those below.
    pub below: usize,
    /// Those that are equal.
    pub level: usize,
}

impl SeasonPlace {
    /// The place of a value among earlier ones, in any order.
    pub fn among(value: f64, earlier: &[f64]) -> SeasonPlace {
        let count = |fits: fn(f64, f64) -> bool| {
            let values = earlier.iter();
            values.filter(|other| fits(**other, value)).count()
        };
        SeasonPlace {
            earlier: earlier.len(),
            below: count(|other, value| other < value),
            level: count(|other, value| other == value),
        }
    }

    /// The percentile, 0 to 100; `None` for too few earlier seasons.
    pub fn percentile(&self) -> Option<f64> {
        let place = 100.0 * (self.below as f64 + self.level as f64 / 2.0) / self.earlier as f64;
        (self.earlier >= EARLIER_LEAST).then_some(place)
    }
}

/// A week of an earlier season: its heat sum and its value.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct WeekAtHeat {
    /// Place of the week in the year.
    pub week: i32,
    /// Heat sum, degree-days.
    pub heat: f64,
    /// What is compared.
    pub value: f64,
}

/// A season's value at a heat sum, along straight lines between its weeks, which are in the order of time and so
/// of heat. `None` outside of what was seen, or where the weeks on both sides are not joined.
pub fn value_at_heat(weeks: &[WeekAtHeat], heat: f64) -> Option<f64> {
    let mut pairs = weeks.windows(2);
    let between = pairs.find(|pair| {
        let joined = pair[1].week - pair[0].week <= WEEKS_JOINED;
        joined && (pair[0].heat..=pair[1].heat).contains(&heat)
    });
    if let Some([from, to]) = between {
        let apart = to.heat - from.heat;
        // Weeks without any heat between them: the middle.
        let along = if apart > 0.0 {
            (heat - from.heat) / apart
        } else {
            0.5
        };
        return Some(from.value + along * (to.value - from.value));
    }
    let mut alone = weeks.iter().filter(|week| week.heat == heat);
    alone.next().map(|week| week.value)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_percentile_of_the_mean_rank() {
        // Examples of scipy's documentation of percentileofscore: kind="mean".
        let place = SeasonPlace::among(3.0, &[1.0, 2.0, 3.0, 3.0, 4.0]);
        assert_eq!((place.below, place.level), (2, 2));
        assert_eq!(place.percentile(), Some(60.0));
        assert_eq!(
            SeasonPlace::among(9.0, &[1.0, 2.0, 3.0, 4.0]).percentile(),
            Some(100.0)
        );
        assert_eq!(
            SeasonPlace::among(0.0, &[1.0, 2.0, 3.0, 4.0]).percentile(),
            Some(0.0)
        );
        assert_eq!(SeasonPlace::among(0.0, &[0.0; 6]).percentile(), Some(50.0));
        assert_eq!(SeasonPlace::among(9.0, &[1.0, 2.0, 3.0]).percentile(), None);
        assert_eq!(SeasonPlace::among(9.0, &[]).percentile(), None);
    }

    #[test]
    fn a_value_lies_on_the_line_between_two_weeks_and_nowhere_else() {
        let week = |week: i32, heat: f64, value: f64| WeekAtHeat { week, heat, value };
        let weeks = [
            week(28, 300.0, 0.2),
            week(29, 400.0, 0.6),
            week(32, 700.0, 1.2),
            week(33, 700.0, 0.8),
        ];
        let at = |heat: f64| value_at_heat(&weeks, heat);
        assert!((at(350.0).expect("between two weeks") - 0.4).abs() < 1e-12);
        assert_eq!(at(400.0), Some(0.6));
        assert_eq!(at(299.0), None);
        assert_eq!(
            at(550.0),
            None,
            "three weeks apart: nothing is known between"
        );
        assert_eq!(at(700.0), Some(1.0));
        assert_eq!(at(701.0), None);
        assert_eq!(value_at_heat(&weeks[..1], 300.0), Some(0.2));
    }
}
