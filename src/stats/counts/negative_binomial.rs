//! The negative binomial and the Poisson distribution of counts, by their mean, and the likelihood of a
//! sample under each. The fit of k is in `aggregation.rs`.
//!
//! Source: Bliss, C.I. & Fisher, R.A. 1953, Biometrics 9:176–200. With mean m and exponent k the
//! variance is `m + m²/k`: the smaller k, the more aggregated; k without end is Poisson's.

use statrs::function::gamma::ln_gamma;

use crate::counts::frequencies::CountFrequencies;
use crate::counts::rising_factorial::log_rising_ratio;

/// A negative binomial distribution of the counts of units.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct NegativeBinomial {
    mean: f64,
    k: f64,
}

impl NegativeBinomial {
    /// The distribution with this mean (count a unit) and k; `None` unless both are finite and above 0.
    pub fn new(mean: f64, k: f64) -> Option<NegativeBinomial> {
        let usable = |value: f64| value.is_finite() && value > 0.0;
        (usable(mean) && usable(k)).then_some(NegativeBinomial { mean, k })
    }

    /// Mean count a unit.
    pub fn mean(&self) -> f64 {
        self.mean
    }

    /// The exponent k, dimensionless.
    pub fn k(&self) -> f64 {
        self.k
    }

    /// Variance of the counts, `m + m²/k`.
    pub fn variance(&self) -> f64 {
        self.mean + self.mean * self.mean / self.k
    }

    /// Logarithm of the probability that a unit has this count.
    pub fn log_probability(&self, count: u64) -> f64 {
        let (mean, k, x) = (self.mean, self.k, count as f64);
        // In this form every part stays finite as k grows, and −(k + x)·ln(1 + m/k) goes to −m.
        log_rising_ratio(k, count) + x * mean.ln()
            - log_factorial(count)
            - (k + x) * (mean / k).ln_1p()
    }

    /// The probability that a unit has this count.
    pub fn probability(&self, count: u64) -> f64 {
        self.log_probability(count).exp()
    }

    /// Logarithm of the likelihood of a sample.
    pub fn log_likelihood(&self, counts: &CountFrequencies) -> f64 {
        sum_over_units(counts, |count| self.log_probability(count))
    }
}

/// Logarithm of the Poisson probability of a count. A mean of 0 gives 0 counts for certain.
pub fn poisson_log_probability(mean: f64, count: u64) -> f64 {
    if count == 0 {
        return -mean;
    }
    count as f64 * mean.ln() - mean - log_factorial(count)
}

/// Logarithm of the likelihood of a sample if its counts are Poisson's with this mean.
pub fn poisson_log_likelihood(mean: f64, counts: &CountFrequencies) -> f64 {
    sum_over_units(counts, |count| poisson_log_probability(mean, count))
}

fn sum_over_units(counts: &CountFrequencies, log_probability: impl Fn(u64) -> f64) -> f64 {
    counts
        .iter()
        .map(|(count, units)| units as f64 * log_probability(count))
        .sum()
}

fn log_factorial(count: u64) -> f64 {
    ln_gamma(count as f64 + 1.0)
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    fn mites() -> CountFrequencies {
        // Bliss & Fisher 1953, Biometrics 9:176–200: European red mites on 150 apple leaves.
        CountFrequencies::of_frequencies(&[70, 38, 17, 10, 9, 3, 2, 1])
    }

    #[test]
    fn expected_frequencies_of_mites() {
        // Counts as above; expected frequencies recomputed from the formula at k = 1.024592.
        let mean = mites().mean().expect("150 leaves have a mean");
        let fitted = NegativeBinomial::new(mean, 1.024592).expect("both above 0");
        let expected = [69.49, 37.60, 20.10, 10.70, 5.69, 3.02, 1.60, 0.85];
        let mut rest = 150.0;
        for (count, expected) in (0..).zip(expected) {
            let leaves = 150.0 * fitted.probability(count);
            rest -= leaves;
            assert!((leaves - expected).abs() < 0.005, "{count}: {leaves}");
        }
        assert!((rest - 0.95).abs() < 0.005, "8 and more: {rest}");

        let poisson = [47.65, 54.64, 31.33, 11.97, 3.43, 0.79, 0.15, 0.02];
        let mut rest = 150.0;
        for (count, expected) in (0..).zip(poisson) {
            let leaves = 150.0 * poisson_log_probability(mean, count).exp();
            rest -= leaves;
            assert!((leaves - expected).abs() < 0.005, "{count}: {leaves}");
        }
        assert!(rest.abs() < 0.005, "8 and more: {rest}");
    }

    #[test]
    fn likelihoods_of_mites() {
        // Counts as above; likelihoods recomputed from the formulas at k = 1.024592.
        let mean = mites().mean().expect("150 leaves have a mean");
        let fitted = NegativeBinomial::new(mean, 1.024592).expect("both above 0");
        assert!((fitted.log_likelihood(&mites()) + 222.43715).abs() < 5e-6);
        assert!((poisson_log_likelihood(mean, &mites()) + 242.80994).abs() < 5e-6);
    }

    #[test]
    fn nothing_counted_is_certain_at_a_mean_of_nothing() {
        let empty = CountFrequencies::of_frequencies(&[20]);
        assert_eq!(poisson_log_likelihood(0.0, &empty), 0.0);
        for (mean, k) in [
            (0.0, 1.0),
            (1.0, 0.0),
            (f64::NAN, 1.0),
            (1.0, f64::INFINITY),
        ] {
            assert_eq!(NegativeBinomial::new(mean, k), None);
        }
    }

    proptest! {
        #[test]
        fn a_k_without_end_is_poisson(mean in 0.01..500.0f64, count in 0u64..2_000) {
            let nearly = NegativeBinomial::new(mean, 1e12).expect("both above 0");
            let poisson = poisson_log_probability(mean, count);
            let distance = (nearly.log_probability(count) - poisson).abs();
            prop_assert!(distance <= 1e-5 + 1e-12 * poisson.abs(), "{distance}");
        }

        #[test]
        fn probabilities_add_up_to_one(mean in 0.05..8.0f64, k in 0.3..20.0f64) {
            let distribution = NegativeBinomial::new(mean, k).expect("both above 0");
            let sum: f64 = (0..2_000).map(|count| distribution.probability(count)).sum();
            let first: f64 = (0..2_000)
                .map(|count| count as f64 * distribution.probability(count))
                .sum();
            prop_assert!((sum - 1.0).abs() < 1e-9, "{sum}");
            prop_assert!((first - mean).abs() < 1e-6, "{first}");
        }
    }
}
