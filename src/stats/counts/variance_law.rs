//! The variance of the counts of units as a function of their mean: what a sampling plan knows, or assumes,
//! of how a pest is spread.

/// How the variance of a count follows from its mean.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum VarianceLaw {
    /// Chance alone: `m`.
    Poisson,
    /// Negative binomial: `m + m²/k`.
    NegativeBinomial {
        /// The exponent, dimensionless.
        k: f64,
    },
    /// Taylor 1961, Nature 189:732–735: `a·m^b`.
    Power {
        /// Variance at a mean of 1.
        a: f64,
        /// Slope of the logarithms.
        b: f64,
    },
    /// Iwao 1968 (citation from memory), from `m* = alpha + beta·m`: `(alpha + 1)·m + (beta − 1)·m²`.
    Crowding {
        /// Mean crowding at a mean of 0.
        alpha: f64,
        /// Slope of mean crowding on the mean.
        beta: f64,
    },
}

impl VarianceLaw {
    /// Variance of the counts at a mean; `None` where the law gives none above 0: for a mean that is not
    /// above 0, and for parameters outside their range.
    pub fn variance(&self, mean: f64) -> Option<f64> {
        let variance = match *self {
            VarianceLaw::Poisson => mean,
            VarianceLaw::NegativeBinomial { k } if k > 0.0 => mean + mean * mean / k,
            VarianceLaw::NegativeBinomial { .. } => return None,
            VarianceLaw::Power { a, b } => a * mean.powf(b),
            VarianceLaw::Crowding { alpha, beta } => {
                (alpha + 1.0) * mean + (beta - 1.0) * mean * mean
            }
        };
        (mean > 0.0 && variance > 0.0 && variance.is_finite()).then_some(variance)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn laws_by_hand() {
        for (law, expected) in [
            (VarianceLaw::Poisson, 3.0),
            (VarianceLaw::NegativeBinomial { k: 1.5 }, 9.0),
            (VarianceLaw::Power { a: 2.0, b: 2.0 }, 18.0),
            (
                VarianceLaw::Crowding {
                    alpha: 0.5,
                    beta: 1.5,
                },
                9.0,
            ),
        ] {
            assert_eq!(law.variance(3.0), Some(expected), "{law:?}");
            assert_eq!(law.variance(0.0), None, "{law:?}");
            assert_eq!(law.variance(f64::NAN), None, "{law:?}");
        }
    }

    #[test]
    fn a_law_out_of_its_range_gives_no_variance() {
        assert_eq!(VarianceLaw::NegativeBinomial { k: 0.0 }.variance(3.0), None);
        assert_eq!(
            VarianceLaw::NegativeBinomial { k: -2.0 }.variance(3.0),
            None
        );
        assert_eq!(VarianceLaw::Power { a: 0.0, b: 1.0 }.variance(3.0), None);
        let even = VarianceLaw::Crowding {
            alpha: -0.9,
            beta: 0.5,
        };
        assert_eq!(even.variance(3.0), None);
    }
}
