//! Whether a figure rises or falls over the seasons, and what may be said of it.
//!
//! Puts Mann and Kendall's test, its correction for memory and Theil and Sen's slope together. A trend is only
//! called one if it holds with the correction too: fewer seasons than ten make the correction doubtful, and
//! one that made a trend surer is not followed.

use crate::trend::hamed_rao::{SerialCorrection, correct_for_memory};
use crate::trend::mann_kendall::{MannKendall, mann_kendall};
use crate::trend::theil_sen::{Moment, SlopeInterval, TheilSen, theil_sen};

/// Seasons below which nothing is said. With four, the steadiest rise has a two-sided probability of 1 in 12
/// (counted out); with three, of 1 in 3.
pub const SEASONS_LEAST: usize = 4;
const CONFIDENCE: f64 = 0.95;

/// What may be said.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Verdict {
    /// It rises, and chance would rarely look like this.
    Rises,
    /// It falls, and chance would rarely look like this.
    Falls,
    /// Chance would do as well.
    NotTold,
    /// Too few seasons for any statement.
    TooFewSeasons,
}

/// A figure over the seasons.
#[derive(Debug, Clone, PartialEq)]
pub struct SeasonTrend {
    /// What may be said.
    pub verdict: Verdict,
    /// The test.
    pub test: MannKendall,
    /// The test corrected for memory; `None` where the correction has no answer.
    pub corrected: Option<SerialCorrection>,
    /// The slope by year.
    pub line: TheilSen,
    /// Its 95% interval; `None` for five seasons or fewer.
    pub interval: Option<SlopeInterval>,
}

impl SeasonTrend {
    /// The probability that the verdict is based on: the larger of the best plain one and the corrected one.
    pub fn p_value(&self) -> f64 {
        let corrected = self.corrected.map_or(0.0, |corrected| corrected.p_value);
        self.test.best_p_value().max(corrected)
    }
}

/// A figure's trend over seasons, in ascending order; seasons may be missing. `None` for fewer than two, or for
/// a figure that is no number.
pub fn season_trend(seasons: &[(i32, f64)]) -> Option<SeasonTrend> {
    let moments: Vec<Moment> = seasons
        .iter()
        .map(|(season, value)| Moment {
            time: f64::from(*season),
            value: *value,
        })
        .collect();
    let values: Vec<f64> = moments.iter().map(|moment| moment.value).collect();
    let test = mann_kendall(&values)?;
    let line = theil_sen(&moments)?;
    let left_over: Vec<f64> = moments
        .iter()
        .map(|moment| line.left_over(moment))
        .collect();
    let mut trend = SeasonTrend {
        verdict: Verdict::NotTold,
        corrected: correct_for_memory(&test, &left_over, CONFIDENCE),
        interval: line.interval(CONFIDENCE),
        test,
        line,
    };
    trend.verdict = match trend.p_value() <= 1.0 - CONFIDENCE {
        _ if seasons.len() < SEASONS_LEAST => Verdict::TooFewSeasons,
        true if trend.test.s > 0 => Verdict::Rises,
        true => Verdict::Falls,
        false => Verdict::NotTold,
    };
    Some(trend)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn verdict(values: &[f64]) -> Option<Verdict> {
        let seasons: Vec<(i32, f64)> = (2017..).zip(values.iter().copied()).collect();
        season_trend(&seasons).map(|trend| trend.verdict)
    }

    #[test]
    fn only_what_chance_would_rarely_do_is_called_a_trend() {
        assert_eq!(verdict(&[1.0]), None);
        assert_eq!(verdict(&[1.0, 2.0, 3.0]), Some(Verdict::TooFewSeasons));
        // Four in a row: 1 in 12, counted out; five: 1 in 60.
        assert_eq!(verdict(&[1.0, 2.0, 3.0, 4.0]), Some(Verdict::NotTold));
        assert_eq!(verdict(&[1.0, 2.1, 2.9, 4.2, 5.0]), Some(Verdict::Rises));
        assert_eq!(verdict(&[5.0, 4.2, 2.9, 2.1, 1.0]), Some(Verdict::Falls));
        assert_eq!(verdict(&[2.0; 8]), Some(Verdict::NotTold));
    }

    #[test]
    fn a_missing_season_is_time_that_went_by() {
        let trend = season_trend(&[(2018, 1.0), (2019, 2.0), (2022, 5.0), (2023, 6.0)]);
        assert_eq!(trend.expect("four seasons").line.slope, 1.0);
    }
}
