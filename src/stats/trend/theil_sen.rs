//! The slope of Theil and Sen: the median of the slopes between all pairs, which a single strange season
//! cannot turn.
//!
//! Theil, H. 1950, Proc. K. Ned. Akad. Wet. 53:386–392, 521–525, 1397–1412; Sen, P.K. 1968, J. Am. Stat.
//! Assoc. 63:1379–1389; the interval between whole ranks by Gilbert, R.O. 1987, chapter 16.5, with
//! interpolation. Times need not be evenly spaced: seasons may be missing.

use statrs::distribution::{ContinuousCDF, Normal};

use crate::trend::mann_kendall::{tie_sizes, variance_of_score};

/// One value of a series at its time, in any unit of time.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Moment {
    /// When.
    pub time: f64,
    /// What.
    pub value: f64,
}

/// The line through a series.
#[derive(Debug, Clone, PartialEq)]
pub struct TheilSen {
    /// Change of the value a unit of time: the median of all pairs' slopes.
    pub slope: f64,
    /// The value at time 0: median value less slope times median time (Conover 1980; from memory).
    pub intercept: f64,
    /// Slopes between pairs of different times, ascending.
    pub slopes: Vec<f64>,
    /// Standard deviation of S, of which the ranks of an interval are made; `None` if its variance is not
    /// above 0.
    pub deviation_of_score: Option<f64>,
}

/// The ends of an interval of the slope.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct SlopeInterval {
    /// Lower end.
    pub low: f64,
    /// Upper end.
    pub high: f64,
}

/// The line through moments, in any order. `None` for fewer than two different times, or if a time or a value
/// is no number.
pub fn theil_sen(moments: &[Moment]) -> Option<TheilSen> {
    let finite = |moment: &Moment| moment.time.is_finite() && moment.value.is_finite();
    if !moments.iter().all(finite) {
        return None;
    }
    let slopes = slopes_ascending(moments);
    let slope = median_of_sorted(&slopes)?;
    let times: Vec<f64> = moments.iter().map(|moment| moment.time).collect();
    let values: Vec<f64> = moments.iter().map(|moment| moment.value).collect();
    let variance = variance_of_score(values.len(), &tie_sizes(&values))
        - tie_sizes(&times)
            .iter()
            .map(|size| variance_of_score(*size, &[]))
            .sum::<f64>();
    Some(TheilSen {
        slope,
        intercept: median(&values)? - slope * median(&times)?,
        slopes,
        deviation_of_score: (variance > 0.0).then(|| variance.sqrt()),
    })
}

impl TheilSen {
    /// What the line leaves over of a value.
    pub fn left_over(&self, moment: &Moment) -> f64 {
        moment.value - (self.intercept + self.slope * moment.time)
    }

    /// The interval that holds the slope with this probability (0.95), between two slopes where its rank
    /// falls between them (Gilbert 1987). `None` where so short a series has no slopes to bound it: for
    /// 0.95 a series of five or fewer.
    pub fn interval(&self, confidence: f64) -> Option<SlopeInterval> {
        let half = self.ranks_of_half(confidence)?;
        let pairs = self.slopes.len() as f64;
        let (low, high) = ((pairs - half) / 2.0, (pairs + half) / 2.0 + 1.0);
        Some(SlopeInterval {
            low: self.slope_of_rank(low)?,
            high: self.slope_of_rank(high)?,
        })
    }

    /// The slopes that a score of Mann and Kendall of this size would not reject: a slope is rejected if what it leaves
    /// over of the values has a score as large. `None` where no slope is.
    pub fn slopes_below_score(&self, needed: i64) -> Option<SlopeInterval> {
        let pairs = self.slopes.len();
        let outside = pairs.checked_sub(usize::try_from(needed).ok()?)? / 2;
        Some(SlopeInterval {
            low: *self.slopes.get(outside)?,
            high: *self.slopes.get(pairs - 1 - outside)?,
        })
    }

    fn ranks_of_half(&self, confidence: f64) -> Option<f64> {
        if !(confidence > 0.0 && confidence < 1.0) {
            return None;
        }
        let standard_normal = Normal::new(0.0, 1.0).ok()?;
        Some(standard_normal.inverse_cdf(0.5 + confidence / 2.0) * self.deviation_of_score?)
    }

    /// The slope of a rank from 1, between its neighbors where the rank is not whole.
    fn slope_of_rank(&self, rank: f64) -> Option<f64> {
        if rank < 1.0 || rank > self.slopes.len() as f64 {
            return None;
        }
        let below = self.slopes[rank.floor() as usize - 1];
        let above = self.slopes[rank.ceil() as usize - 1];
        Some(below + rank.fract() * (above - below))
    }
}

fn slopes_ascending(moments: &[Moment]) -> Vec<f64> {
    let mut slopes = Vec::with_capacity(moments.len() * moments.len() / 2);
    for (place, one) in moments.iter().enumerate() {
        for other in &moments[place + 1..] {
            if one.time != other.time {
                slopes.push((other.value - one.value) / (other.time - one.time));
            }
        }
    }
    slopes.sort_by(f64::total_cmp);
    slopes
}

fn median(values: &[f64]) -> Option<f64> {
    let mut sorted = values.to_vec();
    sorted.sort_by(f64::total_cmp);
    median_of_sorted(&sorted)
}

fn median_of_sorted(sorted: &[f64]) -> Option<f64> {
    let upper = *sorted.get(sorted.len() / 2)?;
    let lower = sorted[(sorted.len() - 1) / 2];
    Some((lower + upper) / 2.0)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Sulfate, ppm, by date: US EPA 2009, Unified Guidance (EPA 530/R-09-007), example 17-6.
    const SULFATE: [(f64, f64); 23] = [
        (89.6, 480.0),
        (89.8, 450.0),
        (90.1, 490.0),
        (90.3, 520.0),
        (90.6, 485.0),
        (90.8, 510.0),
        (91.1, 510.0),
        (91.3, 530.0),
        (91.6, 510.0),
        (91.8, 560.0),
        (92.1, 560.0),
        (92.6, 540.0),
        (93.1, 590.0),
        (93.6, 550.0),
        (94.1, 600.0),
        (94.6, 700.0),
        (95.1, 570.0),
        (95.6, 610.0),
        (95.8, 650.0),
        (96.1, 620.0),
        (96.3, 830.0),
        (96.6, 720.0),
        (96.8, 590.0),
    ];

    fn moments(pairs: &[(f64, f64)]) -> Vec<Moment> {
        pairs
            .iter()
            .map(|(time, value)| Moment {
                time: *time,
                value: *value,
            })
            .collect()
    }

    fn by_order(values: &[f64]) -> Vec<Moment> {
        let times = (0u32..).map(f64::from);
        times
            .zip(values)
            .map(|(time, value)| Moment {
                time,
                value: *value,
            })
            .collect()
    }

    #[test]
    fn sulfate_rises_as_fast_as_printed() {
        let line = theil_sen(&moments(&SULFATE)).expect("23 dates");
        assert!((line.slope - 26.666667).abs() < 5e-7, "{}", line.slope);
        assert!(
            (line.intercept + 1909.3333).abs() < 5e-5,
            "{}",
            line.intercept
        );
        let interval = line.interval(0.95).expect("23 values bound a slope");
        assert!((interval.low - 20.0).abs() < 5e-6, "{interval:?}");
        assert!((interval.high - 35.71182).abs() < 5e-6, "{interval:?}");
    }

    #[test]
    fn short_series() {
        let slope = |values: &[f64]| theil_sen(&by_order(values)).map(|line| line.slope);
        assert_eq!(slope(&[5.0, 6.0, 11.0, 8.0, 10.0]), Some(1.125));
        assert_eq!(
            slope(&[5.0, 4.0, 6.0, 8.0, 7.0, 10.0, 12.0, 11.0, 15.0, 14.0]),
            Some(1.25)
        );
        assert_eq!(slope(&[3.0; 6]), Some(0.0));
        assert_eq!(slope(&[3.0]), None);
    }

    #[test]
    fn a_missing_season_counts_as_time() {
        let line = theil_sen(&moments(&[(2020.0, 1.0), (2021.0, 2.0), (2025.0, 6.0)]));
        let line = line.expect("three seasons");
        assert_eq!((line.slope, line.intercept), (1.0, -2019.0));
        assert_eq!(
            line.left_over(&Moment {
                time: 2023.0,
                value: 4.5
            }),
            0.5
        );
    }

    #[test]
    fn five_values_bound_no_slope_and_six_do() {
        let line = |length| theil_sen(&by_order(&[1.0, 3.0, 2.0, 5.0, 4.0, 7.0][..length]));
        assert_eq!(line(5).expect("five").interval(0.95), None);
        assert!(line(6).expect("six").interval(0.95).is_some());
        let level = theil_sen(&by_order(&[2.0; 9])).expect("nine");
        assert_eq!(level.interval(0.95), None);
    }

    #[test]
    fn what_has_no_line() {
        assert_eq!(theil_sen(&moments(&[(1.0, 1.0), (1.0, 2.0)])), None);
        assert_eq!(theil_sen(&moments(&[(1.0, f64::NAN), (2.0, 2.0)])), None);
        let line = theil_sen(&by_order(&[1.0, 2.0, 3.0])).expect("three");
        assert_eq!(line.interval(1.0), None);
    }
}
