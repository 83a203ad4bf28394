//! The class that contains the median pressure of a row's fields.

use serde::{Deserialize, Serialize};

use super::field::{FieldWeek, ROUNDING};
use super::rule::Level;

/// Class of a median pressure, half-open.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct MedianClass {
    /// Lower bound, included; 1 = at threshold.
    pub from: f64,
    /// Upper bound, not included; `None` for the highest class.
    pub below: Option<f64>,
    /// Whether nothing was found in any field: a class of its own.
    pub nothing_found: bool,
}

impl MedianClass {
    /// The class of fields in which nothing was found.
    pub const NOTHING_FOUND: MedianClass = MedianClass {
        from: 0.0,
        below: None,
        nothing_found: true,
    };

    /// Its name in the tables.
    pub fn word(&self) -> String {
        match (self.nothing_found, self.below) {
            (true, _) => "nothing-found".to_owned(),
            (false, Some(below)) => format!("{}-{below}", self.from),
            (false, None) => format!("{}+", self.from),
        }
    }

    /// One number for the class, where classes are put in order or averaged: its middle, of the highest class its
    /// lower bound.
    pub fn middle(&self) -> f64 {
        match self.below {
            Some(below) => (self.from + below) / 2.0,
            None => self.from,
        }
    }
}

/// Lower bounds of the classes of the median.
pub fn class_bounds(large: bool, level: Level) -> &'static [f64] {
    match (level, large) {
        // No class is narrower than half of its lower bound near the threshold: one of 0.75 to 1 gave fields back. Rows that
        // were published before the last bound was there keep their class of 1.5 or more, and every reader knows it.
        (Level::Survey, _) => &[0.0, 0.25, 0.5, 1.0, 1.5, 3.0],
        (Level::Strict, true) => &[0.0, 0.25, 0.5, 1.0],
        (Level::Strict, false) => &[0.0, 0.5],
    }
}

impl MedianClass {
    /// The class of the median of these fields' pressures; a large group has narrower classes under `strict`.
    pub(super) fn of(fields: &[&FieldWeek], large: bool, level: Level) -> MedianClass {
        let mut pressures: Vec<f64> = fields.iter().map(|field| field.pressure).collect();
        pressures.sort_by(f64::total_cmp);
        if pressures.last().is_none_or(|highest| *highest == 0.0) {
            return MedianClass::NOTHING_FOUND;
        }
        let (lower, upper) = (
            pressures[(pressures.len() - 1) / 2],
            pressures[pressures.len() / 2],
        );
        let median = (lower + upper) / 2.0 + ROUNDING;
        let bounds = class_bounds(large, level);
        let place = bounds.iter().rposition(|bound| median >= *bound);
        let place = place.unwrap_or_default();
        MedianClass {
            from: bounds[place],
            below: bounds.get(place + 1).copied(),
            nothing_found: false,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::field::Id;
    use crate::invented::{fields, row_of};

    #[test]
    fn a_median_is_a_class_and_a_mean_a_step() {
        let class = |pressures: &[f64], level| row_of(&fields(pressures), level).median;
        assert_eq!(class(&[0.1, 0.2, 0.3, 0.4], Level::Survey), None);
        let five = [0.1, 0.2, 0.3, 0.4, 9.0];
        let found = class(&five, Level::Survey).expect("a class");
        assert_eq!((found.from, found.below), (0.25, Some(0.5)));
        assert_eq!(found.word(), "0.25-0.5");
        let found = class(&five, Level::Strict).expect("a class");
        assert_eq!(found.word(), "0-0.5");
        assert_eq!(
            class(&[0.0; 5], Level::Survey),
            Some(MedianClass::NOTHING_FOUND)
        );
        // A last digit below the bound is at it.
        let at = class(&[1.0 - 1e-15; 5], Level::Survey).expect("a class");
        assert_eq!(at.word(), "1-1.5");
        let many_times = |pressure| class(&[pressure; 5], Level::Survey).map(|class| class.word());
        assert_eq!(many_times(2.99).as_deref(), Some("1.5-3"));
        assert_eq!(many_times(3.0).as_deref(), Some("3+"));
        assert_eq!(
            row_of(&fields(&[0.5; 9]), Level::Survey).mean_pressure,
            None
        );
        let row = row_of(&fields(&[0.71; 10]), Level::Survey);
        assert_eq!(row.mean_pressure, Some(0.8));
        // Four of ten fields of one farm: a third is too much.
        let mut shared = fields(&[0.71; 10]);
        for field in &mut shared[..4] {
            field.farm = Id::of_farm("one");
        }
        assert_eq!(row_of(&shared, Level::Survey).mean_pressure, None);
    }
}
