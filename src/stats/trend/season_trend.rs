//! Whether a figure rises or falls over the seasons, and what may be said of it.
//!
//! A good season is often followed by a good one, which looks like a trend and is none. So a verdict takes a score S
//! of Mann and Kendall that chance reaches in at most one series of twenty even where each season takes over 0.7 of
//! the one before it ([`score_needed`]), and the interval of the slope holds the slopes that this score would not
//! reject. Hamed and Rao's correction is computed for comparison: on ten seasons it cannot see such memory. How often
//! all of this errs, and what it overlooks, is measured in `tests/benches/TRENDS.md`.

use crate::trend::hamed_rao::{SerialCorrection, correct_for_memory};
use crate::trend::mann_kendall::{MannKendall, mann_kendall};
use crate::trend::score_needed::{score_needed, slope_detectable};
use crate::trend::theil_sen::{Moment, SlopeInterval, TheilSen, theil_sen};

/// Confidence of the limits within which autocorrelations are taken for chance.
const CONFIDENCE: f64 = 0.95;

/// What may be said.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Verdict {
    /// It rises, and chance would rarely look like this.
    Rises,
    /// It falls, and chance would rarely look like this.
    Falls,
    /// Chance would do as well.
    NotSignificant,
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
    /// The size of S that a verdict takes; `None` for too few seasons.
    pub score_needed: Option<i64>,
    /// The test corrected for memory; `None` where the correction has no answer. No verdict is based on it.
    pub corrected: Option<SerialCorrection>,
    /// The slope by year.
    pub line: TheilSen,
    /// The slopes that `score_needed` would not reject; `None` for too few seasons.
    pub interval: Option<SlopeInterval>,
    /// The steady change by year that is found in four of five series of this length that scatter as this one does
    /// about its line; `None` for too few seasons, or without scatter.
    pub detectable: Option<f64>,
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
    let score_needed = score_needed(values.len());
    Some(SeasonTrend {
        verdict: match score_needed {
            None => Verdict::TooFewSeasons,
            Some(needed) if test.s >= needed => Verdict::Rises,
            Some(needed) if test.s <= -needed => Verdict::Falls,
            Some(_) => Verdict::NotSignificant,
        },
        corrected: correct_for_memory(&test, &left_over, CONFIDENCE),
        interval: score_needed.and_then(|needed| line.slopes_below_score(needed)),
        detectable: slope_detectable(values.len())
            .map(|slope| slope * scatter(&left_over))
            .filter(|slope| *slope > 0.0),
        score_needed,
        test,
        line,
    })
}

/// Standard deviation about a line; a line takes two of the values.
fn scatter(left_over: &[f64]) -> f64 {
    let count = left_over.len() as f64;
    let mean = left_over.iter().sum::<f64>() / count;
    let squares: f64 = left_over.iter().map(|value| (value - mean).powi(2)).sum();
    (squares / (count - 2.0)).sqrt()
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
        // Four in a row: 1 in 12 without memory, counted out; five: 1 in 60.
        assert_eq!(verdict(&[1.0, 2.0, 3.0, 4.0]), Some(Verdict::TooFewSeasons));
        assert_eq!(verdict(&[1.0, 2.1, 2.9, 4.2, 5.0]), Some(Verdict::Rises));
        assert_eq!(verdict(&[5.0, 4.2, 2.9, 2.1, 1.0]), Some(Verdict::Falls));
        assert_eq!(verdict(&[2.0; 8]), Some(Verdict::NotSignificant));
        // Seven seasons, one pair out of order: S 19 of 21; two pairs: 17, which memory does in 9 of 100 series.
        let one = [1.0, 2.0, 4.0, 3.0, 5.0, 6.0, 7.0];
        let two = [1.0, 2.0, 4.0, 3.0, 6.0, 5.0, 7.0];
        assert_eq!(verdict(&one), Some(Verdict::Rises));
        assert_eq!(verdict(&two), Some(Verdict::NotSignificant));
    }

    #[test]
    fn a_missing_season_is_time_that_went_by() {
        let trend = season_trend(&[(2018, 1.0), (2019, 2.0), (2022, 5.0), (2023, 6.0)]);
        assert_eq!(trend.expect("four seasons").line.slope, 1.0);
    }

    #[test]
    fn the_interval_excludes_0_where_there_is_a_verdict() {
        let trend = |values: [f64; 6]| {
            let seasons: Vec<(i32, f64)> = (2020..).zip(values).collect();
            season_trend(&seasons).expect("six seasons")
        };
        let steady = trend([1.0, 2.0, 3.5, 4.0, 5.0, 7.0]);
        // All 15 pairs must rise, so the interval reaches from the least slope to the greatest.
        let interval = steady.interval.expect("six seasons");
        assert_eq!((interval.low, interval.high), (0.5, 2.0));
        let slipped = trend([1.0, 2.0, 3.5, 3.0, 5.0, 7.0]);
        assert_eq!(slipped.verdict, Verdict::NotSignificant);
        let interval = slipped.interval.expect("six seasons");
        assert!(interval.low <= 0.0 && 0.0 <= interval.high, "{interval:?}");
    }

    #[test]
    fn what_could_be_seen_grows_with_the_scatter() {
        let of = |size: f64| {
            let values = [1.0, 2.0, 1.0, 2.0, 1.0, 2.0].map(|value| value * size);
            let seasons: Vec<(i32, f64)> = (2020..).zip(values).collect();
            season_trend(&seasons).expect("six seasons").detectable
        };
        let (small, large) = (of(1.0).expect("scatter"), of(3.0).expect("scatter"));
        assert!((large / small - 3.0).abs() < 1e-9, "{small} {large}");
        assert_eq!(of(0.0), None);
    }
}
