//! When a sequential sample may stop: Wald's lines between two means, and the fixed-precision lines of Green
//! and Kuno. Totals are sums of the counts of the units seen so far.
//!
//! Sources: Wald, A. 1945, Ann. Math. Statist. 16:117–186; Green, R.H. 1970 and Kuno, E. 1969, Res. Popul.
//! Ecol. 12 and 11 (citations from memory; formulas: Krebs, C.J., Ecological Methodology, chapter 9).

use crate::counts::variance_law::VarianceLaw;

/// What a sequential sample says so far.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Decision {
    /// Below the threshold.
    Low,
    /// Threshold not ruled out.
    High,
    /// Look at another unit.
    Continue,
}

/// A rule that says at what total a sample may stop.
pub trait StopRule {
    /// What a total of so many units says.
    fn decide(&self, units: u64, total: f64) -> Decision;

    /// What is said of a sample that has the most units and no answer yet: `Low` or `High`.
    fn decide_at_limit(&self, units: u64, total: f64) -> Decision;
}

/// The risks that a plan takes.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Risks {
    /// Probability of `High` where the mean is the low one, α.
    pub false_high: f64,
    /// Probability of `Low` where the mean is the high one, β.
    pub false_low: f64,
}

/// The parallel lines of Wald's sequential probability ratio test: stop with `Low` at or below
/// `low_intercept + slope·units`, with `High` at or above `high_intercept + slope·units`.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct WaldLines {
    /// Rise of both lines a unit; between the two means.
    pub slope: f64,
    /// The lower line at 0 units; below 0.
    pub low_intercept: f64,
    /// The upper line at 0 units; above 0.
    pub high_intercept: f64,
}

impl WaldLines {
    /// Lines for negative binomial counts with a known k, between two mean counts a unit. `None` unless
    /// 0 < low mean < high mean, k is above 0 and both risks are above 0 and add up to less than 1.
    pub fn negative_binomial(
        k: f64,
        low_mean: f64,
        high_mean: f64,
        risks: Risks,
    ) -> Option<WaldLines> {
        // ln(Q₁/Q₀), small for a large k: from the logarithms of 1 + m/k, which keep their digits.
        let quotient = (high_mean / k).ln_1p() - (low_mean / k).ln_1p();
        let a_count = (high_mean / low_mean).ln() - quotient;
        (usable_means(low_mean, high_mean) && k > 0.0)
            .then(|| WaldLines::new(a_count, k * quotient, risks))
            .flatten()
    }

    /// Lines for Poisson counts between two mean counts a unit. `None` as above.
    pub fn poisson(low_mean: f64, high_mean: f64, risks: Risks) -> Option<WaldLines> {
        let a_count = (high_mean / low_mean).ln();
        usable_means(low_mean, high_mean)
            .then(|| WaldLines::new(a_count, high_mean - low_mean, risks))
            .flatten()
    }

    /// Lines for units that are infested or not, between two shares of infested units; the total is the
    /// number of infested units. `None` as above, or if a share is not below 1.
    pub fn binomial(low_share: f64, high_share: f64, risks: Risks) -> Option<WaldLines> {
        let not_infested = (-low_share).ln_1p() - (-high_share).ln_1p();
        let a_count = (high_share / low_share).ln() + not_infested;
        (usable_means(low_share, high_share) && high_share < 1.0)
            .then(|| WaldLines::new(a_count, not_infested, risks))
            .flatten()
    }

    /// Lines from the log-likelihood ratio, which changes by `a_count` with everything counted and by
    /// minus `a_unit` with every unit.
    fn new(a_count: f64, a_unit: f64, risks: Risks) -> Option<WaldLines> {
        let Risks {
            false_high,
            false_low,
        } = risks;
        let usable = false_high > 0.0 && false_low > 0.0 && false_high + false_low < 1.0;
        let lines = WaldLines {
            slope: a_unit / a_count,
            low_intercept: (false_low / (1.0 - false_high)).ln() / a_count,
            high_intercept: ((1.0 - false_low) / false_high).ln() / a_count,
        };
        let finite = lines.slope.is_finite() && lines.low_intercept.is_finite();
        (usable && finite && lines.high_intercept.is_finite()).then_some(lines)
    }

    /// The highest total of so many units that says `Low`, not rounded; below 0 where no total does yet.
    pub fn low(&self, units: u64) -> f64 {
        self.low_intercept + self.slope * units as f64
    }

    /// The lowest total of so many units that says `High`, not rounded.
    pub fn high(&self, units: u64) -> f64 {
        self.high_intercept + self.slope * units as f64
    }

    /// Halfway between the two lines, where the answer changes if there is to be one.
    pub fn middle(&self, units: u64) -> f64 {
        (self.low(units) + self.high(units)) / 2.0
    }
}

impl StopRule for WaldLines {
    /// What a total of so many units says. No units say nothing.
    fn decide(&self, units: u64, total: f64) -> Decision {
        if units == 0 {
            Decision::Continue
        } else if total >= self.high(units) {
            Decision::High
        } else if total <= self.low(units) {
            Decision::Low
        } else {
            Decision::Continue
        }
    }

    fn decide_at_limit(&self, units: u64, total: f64) -> Decision {
        match total >= self.middle(units) {
            true => Decision::High,
            false => Decision::Low,
        }
    }
}

fn usable_means(low: f64, high: f64) -> bool {
    low > 0.0 && low < high && high.is_finite()
}

/// The total at which so many units give the mean with this precision (standard error ÷ mean); a total at or
/// above it may stop. Green's line for Taylor's law, Kuno's for the others. `None` where no total suffices:
/// too few units for the aggregation, or a law whose variance grows with the mean squared or faster.
pub fn precision_stop_total(law: &VarianceLaw, precision: f64, units: u64) -> Option<f64> {
    let units = units as f64;
    let squared = precision * precision;
    let total = match *law {
        VarianceLaw::Power { a, b } if b < 2.0 => {
            (a * units.powf(1.0 - b) / squared).powf(1.0 / (2.0 - b))
        }
        VarianceLaw::Power { .. } => return None,
        VarianceLaw::Poisson => kuno_total(0.0, 1.0, squared, units)?,
        VarianceLaw::NegativeBinomial { k } if k > 0.0 => {
            kuno_total(0.0, 1.0 + 1.0 / k, squared, units)?
        }
        VarianceLaw::NegativeBinomial { .. } => return None,
        VarianceLaw::Crowding { alpha, beta } => kuno_total(alpha, beta, squared, units)?,
    };
    (units > 0.0 && precision > 0.0 && total > 0.0 && total.is_finite()).then_some(total)
}

/// `(α + 1) / (D² − (β − 1)/units)`. At the very number of units where it has a pole, rounding must not
/// make a total of it.
fn kuno_total(alpha: f64, beta: f64, squared: f64, units: f64) -> Option<f64> {
    let left = squared - (beta - 1.0) / units;
    (left > 1e-12 * squared).then(|| (alpha + 1.0) / left)
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    const TEN_PERCENT: Risks = Risks {
        false_high: 0.1,
        false_low: 0.1,
    };

    #[track_caller]
    fn assert_close(value: f64, expected: f64, tolerance: f64) {
        assert!(
            (value - expected).abs() <= tolerance,
            "{value}, expected {expected}"
        );
    }

    fn bouts() -> WaldLines {
        WaldLines::negative_binomial(4.6, 2.0, 4.0, TEN_PERCENT).expect("2 is below 4")
    }

    // Lines below are recomputed from the formulas in the head of this file.

    #[test]
    fn walds_lines_of_negative_binomial_counts() {
        assert_close(bouts().slope, 2.841808, 1e-6);
        assert_close(bouts().low_intercept, -5.128255, 1e-6);
        assert_close(bouts().high_intercept, 5.128255, 1e-6);
        assert_close(bouts().low(5), 9.0808, 1e-4);
        assert_close(bouts().high(5), 19.3373, 1e-4);
    }

    #[test]
    fn a_sequence_ends_where_its_source_says() {
        // The R package sequential.pops documents "accept H1" after five bouts for the counts 2, 5, 6, 2, 7.
        for (units, total) in (1..).zip([2.0, 7.0, 13.0, 15.0]) {
            assert_eq!(bouts().decide(units, total), Decision::Continue, "{units}");
        }
        assert_eq!(bouts().decide(5, 22.0), Decision::High);
        assert_eq!(bouts().decide(1, 0.0), Decision::Continue);
        assert_eq!(bouts().decide(2, 0.0), Decision::Low);
        assert_eq!(bouts().decide(0, 0.0), Decision::Continue);
    }

    #[test]
    fn the_lines_are_those_of_the_likelihood_ratio() {
        // The ratio is a_count·(total − slope·units); recomputed directly from the probabilities.
        use crate::counts::negative_binomial::NegativeBinomial;
        let high = NegativeBinomial::new(4.0, 4.6).expect("both above 0");
        let low = NegativeBinomial::new(2.0, 4.6).expect("both above 0");
        let path = [-0.360676, 0.564011, 1.917153, 1.556476, 3.338073];
        let a_count = 9f64.ln() / bouts().high_intercept;
        let (mut ratio, mut total) = (0.0, 0.0);
        for ((units, count), expected) in (1..).zip([2u64, 5, 6, 2, 7]).zip(path) {
            ratio += high.log_probability(count) - low.log_probability(count);
            total += count as f64;
            assert_close(ratio, expected, 1e-6);
            assert_close(
                a_count * (total - bouts().slope * f64::from(units)),
                expected,
                1e-6,
            );
        }
        assert!(ratio > 9f64.ln());
    }

    #[test]
    fn walds_lines_of_poisson_and_binomial_counts() {
        let poisson = WaldLines::poisson(2.0, 4.0, TEN_PERCENT).expect("2 is below 4");
        assert_close(poisson.slope, 2.885390, 1e-6);
        assert_close(poisson.high_intercept, 3.169925, 1e-6);
        assert_close(poisson.low_intercept, -3.169925, 1e-6);
        let far = WaldLines::negative_binomial(1e9, 2.0, 3.2, TEN_PERCENT).expect("2 is below 3.2");
        assert_close(far.slope, 2.553172, 1e-6);
        assert_close(far.high_intercept, 4.674910, 1e-6);
        let binomial = WaldLines::binomial(0.1, 0.3, TEN_PERCENT).expect("0.1 is below 0.3");
        assert_close(binomial.slope, 0.186169, 1e-6);
        assert_close(binomial.high_intercept, 1.627662, 1e-6);
        assert_close(binomial.low_intercept, -1.627662, 1e-6);
    }

    #[test]
    fn greens_line() {
        let law = VarianceLaw::Power { a: 2.0, b: 1.4 };
        let expected = [
            (5, 110.3071),
            (10, 69.4891),
            (20, 43.7754),
            (50, 23.7649),
            (100, 14.9710),
        ];
        for (units, total) in expected {
            let stop = precision_stop_total(&law, 0.25, units).expect("b is below 2");
            assert_close(stop, total, 1e-4);
        }
        let law = VarianceLaw::Power { a: 1.5, b: 1.5 };
        for (units, total) in [(5, 4500.0), (10, 2250.0), (100, 225.0)] {
            let stop = precision_stop_total(&law, 0.10, units).expect("b is below 2");
            assert_close(stop, total, 1e-4);
        }
        assert_eq!(
            precision_stop_total(&VarianceLaw::Power { a: 1.5, b: 2.0 }, 0.1, 50),
            None
        );
        assert_eq!(precision_stop_total(&law, 0.1, 0), None);
        assert_eq!(precision_stop_total(&law, 0.0, 10), None);
    }

    #[test]
    fn kunos_line() {
        let law = VarianceLaw::Crowding {
            alpha: 0.2,
            beta: 1.3,
        };
        let expected = [
            (5, 480.0),
            (10, 36.9231),
            (20, 25.2632),
            (50, 21.2389),
            (100, 20.1681),
        ];
        for (units, total) in expected {
            let stop = precision_stop_total(&law, 0.25, units).expect("more than 4.8 units");
            assert_close(stop, total, 1e-4);
        }
        assert_eq!(precision_stop_total(&law, 0.25, 4), None);
        let law = VarianceLaw::Crowding {
            alpha: 0.5,
            beta: 1.2,
        };
        assert_eq!(precision_stop_total(&law, 0.2, 5), None);
        for (units, total) in [(10, 75.0), (20, 50.0), (100, 39.4737)] {
            let stop = precision_stop_total(&law, 0.2, units).expect("more than 5 units");
            assert_close(stop, total, 1e-4);
        }
    }

    #[test]
    fn a_plan_without_sense_has_no_lines() {
        let risky = |false_high, false_low| Risks {
            false_high,
            false_low,
        };
        for (low, high) in [(4.0, 2.0), (2.0, 2.0), (0.0, 2.0), (f64::NAN, 2.0)] {
            assert_eq!(WaldLines::poisson(low, high, TEN_PERCENT), None);
            assert_eq!(
                WaldLines::negative_binomial(1.0, low, high, TEN_PERCENT),
                None
            );
        }
        assert_eq!(
            WaldLines::negative_binomial(0.0, 2.0, 4.0, TEN_PERCENT),
            None
        );
        assert_eq!(WaldLines::binomial(0.3, 1.0, TEN_PERCENT), None);
        for risks in [
            risky(0.0, 0.1),
            risky(0.1, 0.0),
            risky(0.5, 0.5),
            risky(1.2, 0.1),
        ] {
            assert_eq!(WaldLines::poisson(2.0, 4.0, risks), None);
        }
    }

    proptest! {
        #[test]
        fn lines_go_over_into_poissons(low in 0.1..5.0f64, ratio in 1.2..4.0f64) {
            let high = low * ratio;
            let far = WaldLines::negative_binomial(1e9, low, high, TEN_PERCENT).expect("low < high");
            let poisson = WaldLines::poisson(low, high, TEN_PERCENT).expect("low < high");
            prop_assert!((far.slope / poisson.slope - 1.0).abs() < 1e-6);
            prop_assert!((far.high_intercept / poisson.high_intercept - 1.0).abs() < 1e-6);
            prop_assert!(low < far.slope && far.slope < high);
        }

        #[test]
        fn a_fixed_precision_line_reaches_its_precision(
            a in 0.5..4.0f64, b in 1.0..1.9f64, units in 1u64..300
        ) {
            let law = VarianceLaw::Power { a, b };
            let total = precision_stop_total(&law, 0.2, units).expect("b is below 2");
            let mean = total / units as f64;
            let variance = law.variance(mean).expect("a mean above 0");
            let reached = (variance / units as f64).sqrt() / mean;
            prop_assert!((reached / 0.2 - 1.0).abs() < 1e-9);
        }
    }
}
