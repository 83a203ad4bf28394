//! Mann and Kendall's test for a series that remembers itself: a good year is often followed by a good one,
//! which looks like a trend and is none.
//!
//! Hamed, K.H. & Rao, A.R. 1998, A modified Mann-Kendall trend test for autocorrelated data, J. Hydrol.
//! 204:182–196. The variance of S is multiplied by a factor from the autocorrelations of the ranks of what
//! the trend leaves over; only those outside of the limits of chance count. The lag is the number of places in
//! the series, so where seasons are missing it is only near to a number of years.

use statrs::distribution::{ContinuousCDF, Normal};

use crate::trend::mann_kendall::{MannKendall, continuity_corrected, two_sided};

/// The test with the corrected variance.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct SerialCorrection {
    /// What the variance of S was multiplied by; above 1 for values that resemble their predecessors.
    pub factor: f64,
    /// The corrected variance of S.
    pub variance: f64,
    /// S less 1 in size, in corrected standard deviations.
    pub z: f64,
    /// Two-sided probability by the normal approximation.
    pub p_value: f64,
}

/// The test corrected by what is left of the values when the trend is taken out, in the same order.
/// Autocorrelations within the limits that chance keeps with this probability (0.95) do not count. `None`
/// where the factor is not there or is not above 0: see [`variance_factor`].
pub fn correct_for_memory(
    test: &MannKendall,
    left_over: &[f64],
    confidence: f64,
) -> Option<SerialCorrection> {
    if left_over.len() != test.length {
        return None;
    }
    let factor = variance_factor(left_over, confidence).filter(|factor| *factor > 0.0)?;
    let variance = test.variance * factor;
    let z = continuity_corrected(test.s, variance);
    Some(SerialCorrection {
        factor,
        variance,
        z,
        p_value: two_sided(z),
    })
}

/// `1 + 2/(n(n−1)(n−2))·Σ (n−i)(n−i−1)(n−i−2)·ρ(i)` over the lags i whose autocorrelation ρ(i) of the ranks
/// is beyond chance. Strong swings to and fro can bring it to 0 or below, where the method has no answer.
/// `None` for fewer than three values, values that are all equal or no numbers, or a confidence that is not
/// between 0 and 1.
pub(crate) fn variance_factor(left_over: &[f64], confidence: f64) -> Option<f64> {
    let usable = left_over.len() > 2 && left_over.iter().all(|value| value.is_finite());
    if !(usable && confidence > 0.0 && confidence < 1.0) {
        return None;
    }
    let length = left_over.len() as f64;
    let standard_normal = Normal::new(0.0, 1.0).ok()?;
    let limit = standard_normal.inverse_cdf(0.5 + confidence / 2.0) / length.sqrt();
    let correlations = autocorrelations(&average_ranks(left_over))?;
    let weighted = (1u32..).zip(correlations).map(|(lag, correlation)| {
        let rest = length - f64::from(lag);
        if correlation.abs() <= limit {
            return 0.0;
        }
        rest * (rest - 1.0) * (rest - 2.0) * correlation
    });
    Some(1.0 + 2.0 / (length * (length - 1.0) * (length - 2.0)) * weighted.sum::<f64>())
}

/// The rank of each value from 1; equal values share the mean of their ranks.
fn average_ranks(values: &[f64]) -> Vec<f64> {
    let mut places: Vec<usize> = (0..values.len()).collect();
    places.sort_by(|one, other| values[*one].total_cmp(&values[*other]));
    let mut ranks = vec![0.0; values.len()];
    let mut below = 0;
    for group in places.chunk_by(|one, other| values[*one] == values[*other]) {
        let rank = below as f64 + (group.len() as f64 + 1.0) / 2.0;
        for place in group {
            ranks[*place] = rank;
        }
        below += group.len();
    }
    ranks
}

/// Autocorrelations at lags 1, 2, …; each sum of products over all values, as is usual. `None` if all
/// values are equal.
fn autocorrelations(values: &[f64]) -> Option<Vec<f64>> {
    let mean = values.iter().sum::<f64>() / values.len() as f64;
    let deviations: Vec<f64> = values.iter().map(|value| value - mean).collect();
    let products = |lag: usize| -> f64 {
        let later = deviations[lag..].iter();
        deviations
            .iter()
            .zip(later)
            .map(|(one, other)| one * other)
            .sum()
    };
    let squares = products(0);
    (squares > 0.0).then(|| {
        (1..values.len())
            .map(|lag| products(lag) / squares)
            .collect()
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::trend::mann_kendall::mann_kendall;

    #[test]
    fn a_factor_by_hand() {
        // Ranks 1 2 3 4, deviations −1.5 −0.5 0.5 1.5, squares 5; products at lag 1: 0.75 − 0.25 + 0.75 =
        // 1.25, at lag 2: −0.75 − 0.75 = −1.5, at lag 3: −2.25. Limit at 0.2: 0.2533/2 = 0.127.
        // 1 + 2/24·(3·2·1·0.25 + 2·1·0·(−0.3) + 0) = 1.125.
        let factor = variance_factor(&[10.0, 20.0, 30.0, 50.0], 0.2).expect("four values");
        assert!((factor - 1.125).abs() < 1e-12, "{factor}");
        // At 0.95 the limit is 0.98: nothing is beyond chance.
        assert_eq!(variance_factor(&[10.0, 20.0, 30.0, 50.0], 0.95), Some(1.0));
    }

    #[test]
    fn memory_makes_a_trend_less_sure() {
        let waves: Vec<f64> = (0..40).map(|year| (f64::from(year) / 6.0).sin()).collect();
        let series: Vec<f64> = (0u32..)
            .zip(&waves)
            .map(|(year, wave)| wave + 0.02 * f64::from(year))
            .collect();
        let test = mann_kendall(&series).expect("40 numbers");
        let corrected = correct_for_memory(&test, &waves, 0.95).expect("a positive factor");
        assert!(corrected.factor > 2.0, "{corrected:?}");
        assert!(corrected.p_value > test.p_value);
        assert_eq!(corrected.variance, test.variance * corrected.factor);
    }

    #[test]
    fn what_has_no_factor() {
        assert_eq!(variance_factor(&[1.0, 2.0], 0.95), None);
        assert_eq!(variance_factor(&[1.0; 8], 0.95), None);
        assert_eq!(variance_factor(&[1.0, f64::NAN, 2.0], 0.95), None);
        assert_eq!(variance_factor(&[1.0, 3.0, 2.0], 1.0), None);
        let test = mann_kendall(&[1.0, 3.0, 2.0]).expect("three numbers");
        assert_eq!(correct_for_memory(&test, &[0.0, 1.0], 0.95), None);
    }

    #[test]
    fn equal_values_share_a_rank() {
        assert_eq!(average_ranks(&[2.0, 1.0, 2.0, 5.0]), [2.5, 1.0, 2.5, 4.0]);
    }
}
