//! Where a season ranks among those before it, by one figure.
//!
//! The rank is counted from the highest, and equal values share it (scipy's `rankdata` of the negative values with
//! `method="min"`). Equal values are common: a quiet week is 0.

use crate::trend::season_course::WEEKS_JOINED;

/// Earlier seasons below which no rank is given: of fewer than five seasons in all, each is the highest more often than
/// in one of five cases by chance alone. Our choice.
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

    /// The rank among the earlier values and this one, 1 for the highest; `None` for too few earlier seasons.
    pub fn rank(&self) -> Option<usize> {
        let above = self.earlier - self.below - self.level;
        (self.earlier >= EARLIER_LEAST).then_some(above + 1)
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
    fn the_rank_is_counted_from_the_highest() {
        // The series of scipy's documentation of percentileofscore.
        let place = SeasonPlace::among(3.0, &[1.0, 2.0, 3.0, 3.0, 4.0]);
        assert_eq!((place.below, place.level), (2, 2));
        assert_eq!(place.rank(), Some(2));
        let rank = |value: f64, earlier: &[f64]| SeasonPlace::among(value, earlier).rank();
        assert_eq!(rank(9.0, &[1.0, 2.0, 3.0, 4.0]), Some(1));
        assert_eq!(rank(0.0, &[1.0, 2.0, 3.0, 4.0]), Some(5));
        assert_eq!(rank(0.0, &[0.0; 6]), Some(1));
        assert_eq!(rank(9.0, &[1.0, 2.0, 3.0]), None);
        assert_eq!(rank(9.0, &[]), None);
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
