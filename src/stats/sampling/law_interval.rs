//! How sure a field's figure is, judged by the variance that a season's fields have taught instead of by the
//! few sites of the field alone.
//!
//! Student's interval takes the error from the field's own sites. On skewed counts a sample without the
//! rare rich sites has both a low mean and a small error, so that the interval ends below the truth too
//! often (`tests/benches/INTERVALS.md`). Here the error at any supposed true mean comes from a law of variance, as
//! in Wilson's interval of a share (Wilson, E.B. 1927, J. Am. Stat. Assoc. 22:209–212; from memory): the
//! interval holds the means from which the sample is less than z standard errors away. It is not the
//! published interval, but what to hold it against.
//!
//! The law is that of the *site means* of like protocols (pairs of a visit's field mean and the variance of
//! its site means, with about as many units per site), not that of single units.

use statrs::distribution::{ContinuousCDF, Normal};

use crate::counts::variance_law::VarianceLaw;
use crate::sampling::field_mean::Interval;
use crate::solve::bisection::fall_to_zero;

/// A field's mean with the law of the variance of its site means.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct FieldMeanByLaw {
    mean: f64,
    sites: f64,
    law: VarianceLaw,
}

impl FieldMeanByLaw {
    /// A field's mean of its site means, the number of sites and the law of the variance of site means. One
    /// site is enough. `None` without a site, or for a mean below 0 or no number.
    pub fn new(field_mean: f64, sites: u32, law: VarianceLaw) -> Option<FieldMeanByLaw> {
        let usable = field_mean.is_finite() && field_mean >= 0.0 && sites > 0;
        usable.then_some(FieldMeanByLaw {
            mean: field_mean,
            sites: f64::from(sites),
            law,
        })
    }

    /// The interval that holds the true mean with this probability. A field with nothing at any site has
    /// one too: from 0 up to the mean at which that would be a surprise. `None` unless the probability is
    /// between 0 and 1, where the law gives no variance, and where too few sites for the law leave the
    /// upper end open.
    pub fn interval(&self, confidence: f64) -> Option<Interval> {
        if !(confidence > 0.0 && confidence < 1.0) {
            return None;
        }
        let z = standard_normal()?.inverse_cdf(0.5 + confidence / 2.0);
        Some(Interval {
            low: self.low(z)?,
            high: self.high(z)?,
        })
    }

    /// The probability that the true mean is at or above a threshold: of the normal distribution, from the
    /// standard error that a field at the threshold would have. `None` for a threshold that is not above
    /// 0, and where the law gives no variance.
    pub fn probability_at_or_above(&self, threshold: f64) -> Option<f64> {
        Some(standard_normal()?.cdf(self.steps_above(threshold)?))
    }

    /// Whether the interval covers the threshold. `None` as for both.
    pub fn near_threshold(&self, confidence: f64, threshold: f64) -> Option<bool> {
        let probability = self.probability_at_or_above(threshold)?;
        let outside = (1.0 - confidence) / 2.0;
        (confidence > 0.0 && confidence < 1.0)
            .then(|| (outside..=1.0 - outside).contains(&probability))
    }

    /// How far the sample is above a supposed true mean, in its standard errors.
    fn steps_above(&self, true_mean: f64) -> Option<f64> {
        let variance = self.law.variance(true_mean)?;
        Some((self.mean - true_mean) / (variance / self.sites).sqrt())
    }

    fn low(&self, z: f64) -> Option<f64> {
        if self.mean == 0.0 {
            return Some(0.0);
        }
        self.steps_above(self.mean)?;
        let more_than_z = |true_mean: f64| {
            self.steps_above(true_mean)
                .map_or(f64::INFINITY, |steps| steps - z)
        };
        let least = self.mean * LEAST;
        let reached = more_than_z(least) > 0.0;
        Some(if reached {
            fall_to_zero(more_than_z, least, self.mean)
        } else {
            0.0
        })
    }

    fn high(&self, z: f64) -> Option<f64> {
        let less_than_z = |true_mean: f64| self.steps_above(true_mean).map(|steps| steps + z);
        let mut from = if self.mean > 0.0 { self.mean } else { LEAST };
        // Doubled until the sample is more than z below.
        for _ in 0..DOUBLINGS {
            let to = 2.0 * from;
            if less_than_z(to)? <= 0.0 {
                let within = |true_mean: f64| less_than_z(true_mean).unwrap_or(-1.0);
                return Some(fall_to_zero(within, from, to));
            }
            from = to;
        }
        None
    }
}

/// A mean that is nothing, as a share of the sample's or, where that is 0, in counts.
const LEAST: f64 = 1e-9;
/// From the least mean to one that is a million times beyond any count.
const DOUBLINGS: u32 = 80;

fn standard_normal() -> Option<Normal> {
    Normal::new(0.0, 1.0).ok()
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    fn field(mean: f64, sites: u32, law: VarianceLaw) -> FieldMeanByLaw {
        FieldMeanByLaw::new(mean, sites, law).expect("a mean of some sites")
    }

    #[test]
    fn poisson_counts_have_the_ends_of_the_quadratic_equation() {
        // By hand: (m − μ)² = z²·μ/sites, μ = m + z²/2s ± z·√(m/s + z²/4s²), z = 1.959964.
        let z2 = 1.959964f64.powi(2);
        for (mean, sites) in [(2.0, 10), (0.0, 10), (0.3, 4), (50.0, 1)] {
            let interval = field(mean, sites, VarianceLaw::Poisson).interval(0.95);
            let interval = interval.expect("0.95 and Poisson's law");
            let share = z2 / f64::from(sites);
            let half = (share * mean + share * share / 4.0).sqrt();
            let (low, high) = (mean + share / 2.0 - half, mean + share / 2.0 + half);
            assert!(
                (interval.low - low).abs() < 1e-6 * (1.0 + high),
                "{interval:?}, {low}"
            );
            assert!(
                (interval.high - high).abs() < 1e-6 * (1.0 + high),
                "{interval:?}, {high}"
            );
        }
    }

    #[test]
    fn nothing_found_leaves_open_how_little_there_is() {
        // (0 − μ)² = z²·2·μ^1.4/8: μ^0.6 = 3.841459/4, by hand.
        let law = VarianceLaw::Power { a: 2.0, b: 1.4 };
        let interval = field(0.0, 8, law).interval(0.95).expect("0.95 and a law");
        assert_eq!(interval.low, 0.0);
        assert!((interval.high - (3.841459f64 / 4.0).powf(1.0 / 0.6)).abs() < 1e-6);
        let probability = field(0.0, 8, law)
            .probability_at_or_above(3.2)
            .expect("above 0");
        assert!(probability > 0.0 && probability < 0.025);
    }

    #[test]
    fn too_few_sites_for_the_law_leave_the_upper_end_open() {
        // Variance 4·μ²: four sites are never more than one standard error below.
        let law = VarianceLaw::Power { a: 4.0, b: 2.0 };
        assert_eq!(field(1.0, 4, law).interval(0.95), None);
        assert!(field(1.0, 40, law).interval(0.95).is_some());
    }

    #[test]
    fn what_cannot_be_asked_has_no_answer() {
        let law = VarianceLaw::Poisson;
        assert_eq!(FieldMeanByLaw::new(1.0, 0, law), None);
        assert_eq!(FieldMeanByLaw::new(f64::NAN, 4, law), None);
        assert_eq!(FieldMeanByLaw::new(-1.0, 4, law), None);
        assert_eq!(field(1.0, 4, law).interval(1.0), None);
        assert_eq!(field(1.0, 4, law).probability_at_or_above(0.0), None);
        assert_eq!(field(1.0, 4, law).near_threshold(1.5, 1.0), None);
        let none = VarianceLaw::NegativeBinomial { k: -1.0 };
        assert_eq!(field(1.0, 4, none).interval(0.95), None);
        assert_eq!(field(0.0, 4, none).interval(0.95), None);
    }

    proptest! {
        #[test]
        fn the_interval_and_the_probability_agree(
            mean in 0.0..40.0f64, sites in 1u32..40, a in 0.1..3.0f64, b in 1.0..1.8f64,
            threshold in 0.05..60.0f64,
        ) {
            let field = field(mean, sites, VarianceLaw::Power { a, b });
            let interval = field.interval(0.95).expect("b is below 2");
            prop_assert!(interval.covers(mean));
            let probability = field.probability_at_or_above(threshold).expect("above 0");
            prop_assume!((probability - 0.025).abs() > 1e-6 && (probability - 0.975).abs() > 1e-6);
            let near = field.near_threshold(0.95, threshold).expect("above 0");
            prop_assert_eq!(near, interval.covers(threshold), "{:?} {}", interval, probability);
        }
    }
}
