//! The exponent k of the negative binomial by maximum likelihood: from one sample, or from many with a
//! mean each. The short ways of the older papers are in `moment_estimators.rs`.
//!
//! Sources: Bliss, C.I. & Fisher, R.A. 1953, Biometrics 9:176–200 (one sample); Bliss, C.I. & Owen, A.R.G.
//! 1958, Biometrika 45:37–58 (a common k; citation from memory). For any k the likeliest mean of a sample
//! is its own mean, so that k is found alone, as the root of
//!
//! ```text
//! Σ [ψ(k + x) − ψ(k)]  −  Σ units·ln(1 + mean/k)      counts x of all samples; samples
//! ```
//!
//! Where there is no k the answer says why; it is never a large number in its place.

use crate::counts::frequencies::CountFrequencies;
use crate::counts::negative_binomial::{NegativeBinomial, poisson_log_likelihood};
use crate::counts::rising_factorial::{reciprocal_sum, squared_reciprocal_sum};
use crate::solve::bisection::fall_to_zero;

/// Why a sample has no k.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum UndefinedK {
    /// No sample has two units, so nothing is known of how they differ.
    TooFewUnits,
    /// Nothing was counted on any unit.
    NothingCounted,
    /// The variance is not above the mean: the units differ no more than by chance.
    NotAggregated,
    /// The variance is above the mean, but so little that the likelihood rises all the way to the
    /// Poisson distribution, or that it would exceed the Poisson variance by less than a thousandth.
    PoissonLimit,
}

/// A fitted k, dimensionless.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct FittedK {
    /// The likeliest k.
    pub k: f64,
    /// Standard error from the observed curvature of the log-likelihood at k; `None` if it is flat there.
    pub standard_error: Option<f64>,
    /// Log-likelihood of the samples, each with its own mean and this k.
    pub log_likelihood: f64,
    /// Log-likelihood of the samples if each were Poisson with its own mean.
    pub poisson_log_likelihood: f64,
    /// Samples that the fit is based on.
    pub samples: u64,
    /// Units of these samples.
    pub units: u64,
}

/// The variance exceeds the Poisson variance at least by this share of it, or there is no k: to see less
/// at one standard error, √(2/units) of the ratio, takes two million units.
pub(crate) const EXCESS_MIN: f64 = 1e-3;

/// k of one sample by maximum likelihood. One sample has one maximum (Levin, B. & Reeds, J. 1977, Ann.
/// Statist. 5:79–87; from memory), at a finite k if the variance with `units` as its divisor is above the
/// mean.
///
/// # Errors
/// Why the sample has no k.
pub fn fit_k(counts: &CountFrequencies) -> Result<FittedK, UndefinedK> {
    fit_common_k(std::slice::from_ref(counts))
}

/// The k that samples have in common, by maximum likelihood, each sample with its own mean: of the visits
/// of a county and season.
///
/// Samples of a single unit or with nothing counted tell nothing of k and are left out. With few units a
/// sample the common k comes out somewhat too high, as each sample's own mean takes up a part of the
/// scatter (Neyman & Scott 1948; from memory). Sums are taken in the order of the samples, which moves the
/// last digits: give them in a stated order where the same bytes are wanted.
///
/// # Errors
/// Why the samples have no common k.
pub fn fit_common_k(samples: &[CountFrequencies]) -> Result<FittedK, UndefinedK> {
    let profile = Profile::new(samples)?;
    let likeliest = profile
        .maxima()
        .into_iter()
        .map(|k| (k, profile.log_likelihood(k)))
        .filter(|(_, likelihood)| *likelihood > profile.poisson_log_likelihood)
        .max_by(|one, other| one.1.total_cmp(&other.1));
    let Some((k, log_likelihood)) = likeliest else {
        return Err(if profile.excess_of_variance() > 0.0 {
            UndefinedK::PoissonLimit
        } else {
            UndefinedK::NotAggregated
        });
    };
    let curvature = profile.curvature(k);
    Ok(FittedK {
        k,
        standard_error: (curvature > 0.0).then(|| curvature.recip().sqrt()),
        log_likelihood,
        poisson_log_likelihood: profile.poisson_log_likelihood,
        samples: profile.samples.len() as u64,
        units: profile.samples.iter().map(|sample| sample.units).sum(),
    })
}

/// Units and mean of one sample.
struct SampleMean {
    units: u64,
    mean: f64,
    variance: f64,
}

/// The likelihood of k, with each sample at its own mean.
struct Profile<'a> {
    used: Vec<&'a CountFrequencies>,
    samples: Vec<SampleMean>,
    /// The counts of all used samples: the sums over them do not ask from which sample a count is.
    counts: CountFrequencies,
    poisson_log_likelihood: f64,
}

impl<'a> Profile<'a> {
    fn new(all: &'a [CountFrequencies]) -> Result<Profile<'a>, UndefinedK> {
        let mut profile = Profile {
            used: Vec::new(),
            samples: Vec::new(),
            counts: CountFrequencies::default(),
            poisson_log_likelihood: 0.0,
        };
        let mut several_units = false;
        for sample in all {
            let (Some(mean), Some(variance)) = (sample.mean(), sample.variance()) else {
                continue;
            };
            several_units = true;
            if mean > 0.0 {
                profile.counts.add_all(sample);
                profile.poisson_log_likelihood += poisson_log_likelihood(mean, sample);
                profile.used.push(sample);
                let units = sample.units();
                profile.samples.push(SampleMean {
                    units,
                    mean,
                    variance,
                });
            }
        }
        match (several_units, profile.used.is_empty()) {
            (false, _) => Err(UndefinedK::TooFewUnits),
            (true, true) => Err(UndefinedK::NothingCounted),
            (true, false) => Ok(profile),
        }
    }

    /// What the variance has above the mean, weighed by degrees of freedom.
    fn excess_of_variance(&self) -> f64 {
        self.samples
            .iter()
            .map(|sample| (sample.units - 1) as f64 * (sample.variance - sample.mean))
            .sum()
    }

    fn sum_over_samples(&self, term: impl Fn(f64) -> f64) -> f64 {
        self.samples
            .iter()
            .map(|sample| sample.units as f64 * term(sample.mean))
            .sum()
    }

    fn sum_over_counts(&self, term: impl Fn(u64) -> f64) -> f64 {
        self.counts
            .iter()
            .map(|(count, units)| units as f64 * term(count))
            .sum()
    }

    /// The derivative of the log-likelihood by k.
    fn slope(&self, k: f64) -> f64 {
        self.sum_over_counts(|count| reciprocal_sum(k, count))
            - self.sum_over_samples(|mean| (mean / k).ln_1p())
    }

    /// Minus the second derivative of the log-likelihood by k.
    fn curvature(&self, k: f64) -> f64 {
        self.sum_over_counts(|count| squared_reciprocal_sum(k, count))
            - self.sum_over_samples(|mean| mean / (k * (k + mean)))
    }

    fn log_likelihood(&self, k: f64) -> f64 {
        self.used
            .iter()
            .zip(&self.samples)
            .filter_map(|(counts, sample)| {
                let distribution = NegativeBinomial::new(sample.mean, k)?;
                Some(distribution.log_likelihood(counts))
            })
            .sum()
    }

    /// Every k between the ends of the search at which the likelihood has a maximum.
    fn maxima(&self) -> Vec<f64> {
        let squares = self.sum_over_samples(|mean| mean * mean);
        let total = self.sum_over_samples(|mean| mean);
        // Below the lower end the slope is above 0 whatever the counts; at the upper end the variances
        // of all samples together exceed the Poisson variance by EXCESS_MIN.
        let k_low = 1e-3 / self.counts.units() as f64;
        let k_high = squares / total / EXCESS_MIN;
        let mut found = Vec::new();
        let (mut from, mut slope_from) = (k_low, self.slope(k_low));
        // Samples with different means may have several maxima: each doubling of k is looked at.
        while from < k_high {
            let to = (2.0 * from).min(k_high);
            let slope_to = self.slope(to);
            if slope_from > 0.0 && slope_to <= 0.0 {
                found.push(fall_to_zero(|k| self.slope(k), from, to));
            }
            (from, slope_from) = (to, slope_to);
        }
        found
    }
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    /// European red mites on 150 apple leaves: Bliss & Fisher 1953, Biometrics 9:176–200.
    const MITES: [u64; 8] = [70, 38, 17, 10, 9, 3, 2, 1];

    /// Corn borers on 120 hills a treatment: Beall 1940, Ecology 21:460–474, in Bliss & Fisher 1953, table 3.
    const CORN_BORERS: [&[u64]; 4] = [
        &[
            19, 12, 18, 18, 11, 12, 7, 8, 4, 4, 1, 0, 1, 1, 0, 1, 0, 1, 0, 1, 0, 0, 0, 0, 0, 0, 1,
        ],
        &[24, 16, 16, 18, 15, 9, 6, 5, 3, 4, 3, 0, 1],
        &[43, 35, 17, 11, 5, 4, 1, 2, 2],
        &[47, 23, 27, 9, 7, 3, 1, 1, 0, 0, 1, 1],
    ];

    /// Beet webworms, 325 units a treatment: Beall 1940, Ecology 21:460–474, table 6.
    const WEBWORMS: [&[u64]; 4] = [
        &[117, 87, 50, 38, 21, 7, 2, 2, 0, 1],
        &[205, 84, 30, 4, 2],
        &[162, 88, 45, 23, 5, 2],
        &[227, 70, 21, 6, 1],
    ];

    fn tables(samples: &[&[u64]]) -> Vec<CountFrequencies> {
        samples
            .iter()
            .map(|units| CountFrequencies::of_frequencies(units))
            .collect()
    }

    #[track_caller]
    fn assert_close(value: f64, expected: f64, tolerance: f64) {
        assert!(
            (value - expected).abs() <= tolerance,
            "{value}, expected {expected}"
        );
    }

    #[track_caller]
    fn moments(counts: &CountFrequencies) -> (f64, f64) {
        let mean = counts.mean().expect("a sample with units");
        (mean, counts.variance().expect("a sample with two units"))
    }

    #[track_caller]
    fn k_of(counts: &CountFrequencies) -> f64 {
        fit_k(counts).expect("an aggregated sample").k
    }

    #[test]
    fn mites_on_apple_leaves() {
        let mites = CountFrequencies::of_frequencies(&MITES);
        let (mean, variance) = moments(&mites);
        assert_eq!((mites.units(), mites.total()), (150, 172));
        assert_close(mean, 1.146667, 5e-7);
        assert_close(variance, 2.273647, 5e-7);
        let fitted = fit_k(&mites).expect("aggregated");
        assert_close(fitted.k, 1.024592, 5e-7);
        // Published as 1.0246: from memory.
        assert_close(fitted.k, 1.0246, 5e-5);
        assert_close(fitted.standard_error.expect("curved"), 0.2759, 5e-5);
        assert_close(fitted.log_likelihood, -222.43715, 5e-6);
        assert_close(fitted.poisson_log_likelihood, -242.80994, 5e-6);
        assert_eq!((fitted.samples, fitted.units), (1, 150));
    }

    #[test]
    fn corn_borers_in_four_treatments() {
        // Mean, variance and k recomputed; the last is printed by Bliss & Fisher
        // 1953, table 3, who iterated by hand: the recomputed one is asked for to 1e-6, theirs to 4 %.
        let expected = [
            (4.033333, 16.452661, 1.502889, 1.532),
            (3.166667, 7.770308, 1.760488, 1.764),
            (1.483333, 3.192997, 1.333131, 1.333),
            (1.508333, 3.630182, 1.153522, 1.190),
        ];
        let samples = tables(&CORN_BORERS);
        for (counts, (mean, variance, k, printed)) in samples.iter().zip(expected) {
            assert_eq!(counts.units(), 120);
            let (own_mean, own_variance) = moments(counts);
            assert_close(own_mean, mean, 5e-7);
            assert_close(own_variance, variance, 5e-7);
            assert_close(k_of(counts), k, 1e-6);
            assert_close(k_of(counts), printed, 0.04 * printed);
        }
        let common = fit_common_k(&samples).expect("aggregated");
        assert_close(common.k, 1.471450, 5e-7);
        // Printed as 1.47 in the documentation of the R package agridat, data set bliss.borers.
        assert_close(common.k, 1.47, 5e-3);
        assert_eq!((common.samples, common.units), (4, 480));
    }

    #[test]
    fn beet_webworms() {
        let samples = tables(&WEBWORMS);
        let expected = [(1.4, 2.327160, 1.911309), (0.504615, 0.584084, 3.022068)];
        for (counts, (mean, variance, k)) in samples.iter().zip(expected) {
            assert_eq!(counts.units(), 325);
            let (own_mean, own_variance) = moments(counts);
            assert_close(own_mean, mean, 5e-7);
            assert_close(own_variance, variance, 5e-7);
            assert_close(k_of(counts), k, 1e-6);
        }
        assert_close(
            fit_common_k(&samples).expect("aggregated").k,
            2.004131,
            5e-7,
        );
    }

    #[test]
    fn yeast_of_student() {
        // Student 1907, Biometrika 5:351–360, yeast cells in 400 squares, sample A.
        let yeast = CountFrequencies::of_frequencies(&[213, 128, 37, 18, 3, 1]);
        let (mean, variance) = moments(&yeast);
        assert_close(mean, 0.6825, 1e-12);
        assert_close(variance, 0.813728, 5e-7);
        assert_close(k_of(&yeast), 3.586087, 5e-7);
    }

    #[test]
    fn codling_moth_larvae() {
        // 30 strip traps: data set codling_moths of the R package epiphy.
        let larvae = [
            4, 11, 4, 3, 2, 0, 0, 0, 0, 1, 1, 0, 3, 1, 1, 14, 1, 12, 4, 0, 0, 7, 1, 9, 10, 14, 18,
            16, 14, 16,
        ];
        let larvae = CountFrequencies::of_counts(&larvae);
        let (mean, variance) = moments(&larvae);
        assert_close(mean, 5.566667, 5e-7);
        assert_close(variance, 36.736782, 5e-7);
        assert_close(k_of(&larvae), 0.648453, 5e-7);
    }

    #[test]
    fn what_scatters_less_than_chance_has_no_k() {
        // By hand: mean 1, variance 0.5.
        let even = CountFrequencies::of_frequencies(&[2, 5, 2]);
        assert_eq!(fit_k(&even), Err(UndefinedK::NotAggregated));
        // All alike.
        let alike = CountFrequencies::of_counts(&[3; 20]);
        assert_eq!(fit_k(&alike), Err(UndefinedK::NotAggregated));
    }

    #[test]
    fn a_variance_that_is_above_the_mean_only_by_its_divisor_leads_to_poisson() {
        // By hand: counts 0, 1, 2, 3: mean 1.5, variance 5/3 with divisor 3, 1.25 with divisor 4.
        let counts = CountFrequencies::of_counts(&[0, 1, 2, 3]);
        assert_eq!(fit_k(&counts), Err(UndefinedK::PoissonLimit));
        // Mean 1, variance above it by 5e-4: a k of thousands would be a number about nothing.
        let nearly = CountFrequencies::of_frequencies(&[3_682, 3_673, 1_842, 613, 154, 30, 5, 1]);
        let (mean, variance) = moments(&nearly);
        assert!(variance > 1.0004 * mean && variance < 1.001 * mean);
        assert_eq!(fit_k(&nearly), Err(UndefinedK::PoissonLimit));
    }

    #[test]
    fn no_units_one_unit_and_nothing_counted_say_which_they_are() {
        let of = CountFrequencies::of_counts;
        assert_eq!(fit_k(&of(&[])), Err(UndefinedK::TooFewUnits));
        assert_eq!(fit_k(&of(&[7])), Err(UndefinedK::TooFewUnits));
        assert_eq!(fit_k(&of(&[0; 20])), Err(UndefinedK::NothingCounted));
        assert_eq!(fit_common_k(&[]), Err(UndefinedK::TooFewUnits));
        let idle = [of(&[4]), of(&[0; 5])];
        assert_eq!(fit_common_k(&idle), Err(UndefinedK::NothingCounted));
    }

    #[test]
    fn samples_that_tell_nothing_change_nothing() {
        let mut samples = tables(&CORN_BORERS);
        let alone = fit_common_k(&samples).expect("aggregated");
        samples.push(CountFrequencies::of_counts(&[31]));
        samples.push(CountFrequencies::of_counts(&[0; 12]));
        assert_eq!(fit_common_k(&samples), Ok(alone));
    }

    #[test]
    fn extreme_counts_still_have_a_k() {
        // Against another program in tests/judges/statistics.rs; here that what is found is a root.
        for counts in [
            vec![100_000_000, 0, 0, 0, 0],
            vec![1_000_000, 2_000_000, 500_000, 3],
            vec![0, 3],
            vec![u64::MAX, 0, 1],
        ] {
            let counts = CountFrequencies::of_counts(&counts);
            let fitted = fit_k(&counts).expect("aggregated");
            let samples = [counts.clone()];
            let profile = Profile::new(&samples).expect("counted on several units");
            let (below, above) = (fitted.k * (1.0 - 1e-9), fitted.k * (1.0 + 1e-9));
            assert!(profile.slope(below) > 0.0 && profile.slope(above) < 0.0);
            assert!(fitted.standard_error.is_some_and(f64::is_finite));
            assert!(fitted.log_likelihood > fitted.poisson_log_likelihood);
        }
    }

    proptest! {
        #[test]
        fn a_fit_is_a_maximum_or_says_why_there_is_none(
            counts in prop::collection::vec(0u64..40, 0..60)
        ) {
            let counts = CountFrequencies::of_counts(&counts);
            let spread = counts.mean().zip(counts.variance());
            match fit_k(&counts) {
                Ok(fitted) => {
                    let (mean, variance) = spread.expect("a fit has units");
                    prop_assert!(variance > mean);
                    prop_assert!(mean / fitted.k >= EXCESS_MIN);
                    prop_assert!(fitted.log_likelihood > fitted.poisson_log_likelihood);
                    for other in [fitted.k / 1.01, fitted.k * 1.01] {
                        let other = NegativeBinomial::new(mean, other).expect("both above 0");
                        prop_assert!(other.log_likelihood(&counts) <= fitted.log_likelihood);
                    }
                }
                Err(UndefinedK::TooFewUnits) => prop_assert!(counts.units() < 2),
                Err(UndefinedK::NothingCounted) => prop_assert_eq!(counts.total(), 0),
                Err(UndefinedK::NotAggregated) => {
                    prop_assert!(spread.is_some_and(|(mean, variance)| variance <= mean));
                }
                Err(UndefinedK::PoissonLimit) => {
                    let (mean, variance) = spread.expect("the limit has units");
                    let units = counts.units() as f64;
                    prop_assert!(variance > mean);
                    // Moments with the divisor `units`, which decides whether there is a maximum.
                    let excess = variance * (units - 1.0) / units / mean - 1.0;
                    prop_assert!(excess < 0.05, "{}", excess);
                }
            }
        }

        #[test]
        fn a_common_k_is_likelier_than_any_other(
            samples in prop::collection::vec(prop::collection::vec(0u64..60, 1..12), 1..8)
        ) {
            let samples: Vec<CountFrequencies> = samples
                .iter()
                .map(|counts| CountFrequencies::of_counts(counts))
                .collect();
            if let Ok(fitted) = fit_common_k(&samples) {
                let profile = Profile::new(&samples).expect("a fit has samples");
                for step in -60..=60 {
                    let k = fitted.k * 1.25f64.powi(step);
                    let least = 1e-9 * fitted.log_likelihood.abs();
                    prop_assert!(profile.log_likelihood(k) <= fitted.log_likelihood + least);
                }
            }
        }

        #[test]
        fn a_sample_twice_over_has_the_same_k_and_a_smaller_error(
            counts in prop::collection::vec(0u64..25, 5..40)
        ) {
            let once = CountFrequencies::of_counts(&counts);
            let pair = [once.clone(), once.clone()];
            match (fit_k(&once), fit_common_k(&pair)) {
                (Ok(once), Ok(twice)) => {
                    prop_assert!((once.k - twice.k).abs() <= 1e-9 * once.k);
                    let (wide, narrow) = once.standard_error.zip(twice.standard_error)
                        .expect("one sample is curved at its maximum");
                    prop_assert!((wide / narrow - 2f64.sqrt()).abs() < 1e-6);
                }
                (once, twice) => prop_assert_eq!(once.err(), twice.err()),
            }
        }
    }
}
