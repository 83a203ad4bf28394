//! How many units or sites give a wanted precision: the standard error of the mean as a share of the mean.
//!
//! Every law of variance gives the same formula, `variance(m) / (m²·D²)`: with Taylor's `a·m^(b−2)/D²`,
//! with Iwao's `((α+1)/m + β − 1)/D²`, for the negative binomial `(1/m + 1/k)/D²`, for Poisson `1/(m·D²)`
//! (Krebs, C.J., Ecological Methodology, chapter 9). No correction for a small field is made.

use crate::counts::moment_estimators::k_by_moments;
use crate::counts::variance_law::VarianceLaw;

/// Variance of a two-stage sample in its two parts, both of counts a unit.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct TwoStageVariance {
    /// Variance of the sites' true means.
    pub between_sites: f64,
    /// Variance of units about their site's mean.
    pub within_sites: f64,
}

impl TwoStageVariance {
    /// The parts from what a visit shows: the variance of its site means, which holds the variance between
    /// sites and a share of that within, and the pooled variance within. Where chance within the sites
    /// explains more than the site means show, the part between is 0. `None` if a variance is below 0 or no
    /// number, or for 0 units per site.
    pub fn of_visit(
        variance_of_site_means: f64,
        variance_within_sites: f64,
        units_per_site: f64,
    ) -> Option<TwoStageVariance> {
        let usable = |value: f64| value.is_finite() && value >= 0.0;
        let all_usable = usable(variance_of_site_means)
            && usable(variance_within_sites)
            && usable(units_per_site)
            && units_per_site > 0.0;
        let explained = variance_within_sites / units_per_site;
        all_usable.then_some(TwoStageVariance {
            between_sites: (variance_of_site_means - explained).max(0.0),
            within_sites: variance_within_sites,
        })
    }

    /// Variance of the mean of a site with so many units.
    pub fn of_site_means(&self, units_per_site: f64) -> f64 {
        self.between_sites + self.within_sites / units_per_site
    }

    /// k of the totals of sites with so many units, by moments, where a unit has this mean: for a
    /// sequential plan whose count is a site's total. A plan that is asked after each unit of a site
    /// takes them for independent, which they are not, and does not keep its risks (`tests/benches/INTERVALS.md`).
    /// `None` where site totals scatter no more than chance.
    pub fn k_of_site_totals(&self, mean: f64, units_per_site: f64) -> Option<f64> {
        let variance = units_per_site * units_per_site * self.of_site_means(units_per_site);
        k_by_moments(units_per_site * mean, variance)
    }
}

/// Units, not rounded, for which the standard error is this share of the mean. `None` for a mean or a
/// precision that is not above 0, and where the law gives no variance.
pub fn units_for_precision(law: &VarianceLaw, mean: f64, precision: f64) -> Option<f64> {
    needed(law.variance(mean)?, mean, precision)
}

/// Sites, not rounded, for which the standard error of the two-stage mean is this share of the mean, with a
/// given number of units at each. `None` for a mean, a precision or a number of units that is not above 0,
/// and for variances below 0.
pub fn sites_for_precision(
    variance: &TwoStageVariance,
    units_per_site: f64,
    mean: f64,
    precision: f64,
) -> Option<f64> {
    let usable = variance.between_sites >= 0.0 && variance.within_sites >= 0.0;
    (usable && units_per_site > 0.0)
        .then(|| needed(variance.of_site_means(units_per_site), mean, precision))
        .flatten()
}

/// The next whole number that suffices, at least 1. A number that is whole but for the rounding of doubles
/// is that whole number.
pub fn whole_number(needed: f64) -> u64 {
    (needed * (1.0 - 1e-12)).ceil().max(1.0) as u64
}

fn needed(variance: f64, mean: f64, precision: f64) -> Option<f64> {
    let needed = variance / (mean * mean * precision * precision);
    (mean > 0.0 && precision > 0.0 && needed.is_finite()).then_some(needed)
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    #[track_caller]
    fn assert_close(value: Option<f64>, expected: f64) {
        let close = value.is_some_and(|value| (value - expected).abs() <= 1e-4);
        assert!(close, "{value:?}, expected {expected}");
    }

    #[test]
    fn units_by_each_law() {
        // Recomputed from the formulas of Krebs, Ecological Methodology, chapter 9.
        let taylor = VarianceLaw::Power { a: 2.0, b: 1.4 };
        for (mean, units) in [(0.5, 48.5029), (1.0, 32.0), (4.0, 13.9288)] {
            assert_close(units_for_precision(&taylor, mean, 0.25), units);
        }
        let mites = VarianceLaw::NegativeBinomial { k: 1.024592 };
        let units = units_for_precision(&mites, 1.146667, 0.10).expect("above 0");
        assert!((units - 184.809).abs() < 5e-4);
        let iwao = VarianceLaw::Crowding {
            alpha: 0.2,
            beta: 1.3,
        };
        assert_close(units_for_precision(&iwao, 1.0, 0.25), 24.0);
        assert_close(units_for_precision(&VarianceLaw::Poisson, 2.0, 0.2), 12.5);
    }

    #[test]
    fn sites_by_hand() {
        // (4 + 5/5) / (3² · 0.25²) = 8.889.
        let variance = TwoStageVariance {
            between_sites: 4.0,
            within_sites: 5.0,
        };
        let sites = sites_for_precision(&variance, 5.0, 3.0, 0.25);
        assert_close(sites, 8.888889);
        assert_eq!(sites.map(whole_number), Some(9));
        assert_eq!(TwoStageVariance::of_visit(5.0, 5.0, 5.0), Some(variance));
        // Chance alone explains the site means.
        let even = TwoStageVariance::of_visit(0.5, 5.0, 5.0).expect("variances");
        assert_eq!(even.between_sites, 0.0);
    }

    #[test]
    fn site_totals_have_a_k_of_their_own() {
        // Site means Gamma with shape 3, units within a site negative binomial with k 1.2, mean 1.6: between
        // 1.6²/3, within 1.6 + 1.6²·(4/3)/1.2; by hand 1/k = 1/3 + (4/3)/(5·1.2) = 5/9.
        let square = 1.6 * 1.6;
        let variance = TwoStageVariance {
            between_sites: square / 3.0,
            within_sites: 1.6 + square * (4.0 / 3.0) / 1.2,
        };
        let k = variance.k_of_site_totals(1.6, 5.0).expect("aggregated");
        assert!((k - 1.8).abs() < 1e-12, "{k}");
        let chance = TwoStageVariance {
            between_sites: 0.0,
            within_sites: 1.6,
        };
        assert_eq!(chance.k_of_site_totals(1.6, 5.0), None);
    }

    #[test]
    fn what_cannot_be_asked_has_no_answer() {
        let poisson = VarianceLaw::Poisson;
        for (mean, precision) in [(0.0, 0.2), (-1.0, 0.2), (2.0, 0.0), (2.0, f64::NAN)] {
            assert_eq!(units_for_precision(&poisson, mean, precision), None);
        }
        let variance = TwoStageVariance {
            between_sites: 4.0,
            within_sites: 5.0,
        };
        assert_eq!(sites_for_precision(&variance, 0.0, 3.0, 0.25), None);
        assert_eq!(sites_for_precision(&variance, 5.0, 0.0, 0.25), None);
        assert_eq!(TwoStageVariance::of_visit(1.0, 1.0, 0.0), None);
        assert_eq!(TwoStageVariance::of_visit(-1.0, 1.0, 5.0), None);
    }

    #[test]
    fn whole_numbers_suffice() {
        for (needed, whole) in [
            (0.2, 1),
            (12.0, 12),
            (12.0 + 1e-13, 12),
            (12.5, 13),
            (12.01, 13),
        ] {
            assert_eq!(whole_number(needed), whole, "{needed}");
        }
    }

    proptest! {
        #[test]
        fn the_units_reach_the_precision(
            mean in 0.05..30.0f64, precision in 0.05..0.5f64, k in 0.2..8.0f64
        ) {
            let law = VarianceLaw::NegativeBinomial { k };
            let units = units_for_precision(&law, mean, precision).expect("above 0");
            let whole = whole_number(units);
            let reached = (law.variance(mean).expect("above 0") / whole as f64).sqrt() / mean;
            prop_assert!(reached <= precision * (1.0 + 1e-9));
            // Half the error takes four times the units.
            let four = units_for_precision(&law, mean, precision / 2.0).expect("above 0");
            prop_assert!((four / units - 4.0).abs() < 1e-9);
            let poisson = units_for_precision(&VarianceLaw::Poisson, mean, precision);
            let nearly = units_for_precision(&VarianceLaw::NegativeBinomial { k: 1e12 }, mean, precision);
            let ratio = nearly.zip(poisson).map(|(nearly, poisson)| nearly / poisson);
            prop_assert!(ratio.is_some_and(|ratio| (ratio - 1.0).abs() < 1e-9));
        }
    }
}
