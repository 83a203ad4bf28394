//! k of the negative binomial by moments: for site totals, of which only mean and variance are known. Where the
//! counts are known, the likeliest k is published instead (`aggregation.rs`).
//!
//! Source: Bliss, C.I. & Fisher, R.A. 1953, Biometrics 9:176–200.

use crate::counts::aggregation::EXCESS_MIN;

/// k by moments, `m² / (s² − m)`, with the variance of `units - 1` degrees of freedom; `None` where
/// nothing was counted or the variance is above the mean by less than a thousandth of it.
pub fn k_by_moments(mean: f64, variance: f64) -> Option<f64> {
    let k = mean * mean / (variance - mean);
    (mean > 0.0 && variance > mean && mean / k >= EXCESS_MIN).then_some(k)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::counts::frequencies::CountFrequencies;

    #[track_caller]
    fn assert_close(value: Option<f64>, expected: f64, tolerance: f64) {
        let close = value.is_some_and(|value| (value - expected).abs() <= tolerance);
        assert!(close, "{value:?}, expected {expected}");
    }

    fn by_moments(units: &[u64]) -> Option<f64> {
        let counts = CountFrequencies::of_frequencies(units);
        k_by_moments(counts.mean()?, counts.variance()?)
    }

    // Results below are recomputed from the published counts by the formulas.

    #[test]
    fn mites_and_yeast() {
        // Bliss & Fisher 1953, Biometrics 9:176–200: European red mites on 150 apple leaves.
        let mites = [70, 38, 17, 10, 9, 3, 2, 1];
        assert_close(by_moments(&mites), 1.166697, 5e-7);
        // Student 1907, Biometrika 5:351–360: yeast cells in 400 squares, sample A.
        let yeast = [213, 128, 37, 18, 3, 1];
        assert_close(by_moments(&yeast), 3.549593, 5e-7);
    }

    #[test]
    fn corn_borers_and_webworms() {
        // Beall 1940, Ecology 21:460–474: corn borers (table 3 of Bliss & Fisher 1953) and webworms.
        let borers: [&[u64]; 4] = [
            &[
                19, 12, 18, 18, 11, 12, 7, 8, 4, 4, 1, 0, 1, 1, 0, 1, 0, 1, 0, 1, 0, 0, 0, 0, 0, 0,
                1,
            ],
            &[24, 16, 16, 18, 15, 9, 6, 5, 3, 4, 3, 0, 1],
            &[43, 35, 17, 11, 5, 4, 1, 2, 2],
            &[47, 23, 27, 9, 7, 3, 1, 1, 0, 0, 1, 1],
        ];
        let expected = [1.309876, 2.178227, 1.286965, 1.072211];
        for (units, expected) in borers.iter().zip(expected) {
            assert_close(by_moments(units), expected, 1e-6);
        }
        let webworms: [&[u64]; 4] = [
            &[117, 87, 50, 38, 21, 7, 2, 2, 0, 1],
            &[205, 84, 30, 4, 2],
            &[162, 88, 45, 23, 5, 2],
            &[227, 70, 21, 6, 1],
        ];
        assert_close(by_moments(webworms[0]), 2.113981, 1e-6);
        assert_close(by_moments(webworms[1]), 3.204259, 1e-6);
    }

    #[test]
    fn codling_moth_larvae() {
        // 30 strip traps: data set codling_moths of the R package epiphy; its mean and variance.
        assert_close(k_by_moments(5.566667, 36.736782), 0.994150, 1e-6);
    }

    #[test]
    fn what_scatters_no_more_than_chance_has_no_k() {
        // Student 1907, Biometrika 5:351–360: means and variances of the samples B and D.
        assert_eq!(k_by_moments(1.3225, 1.286711), None);
        assert_eq!(k_by_moments(4.68, 4.468772), None);
        assert_eq!(k_by_moments(0.0, 0.0), None);
        assert_eq!(k_by_moments(2.0, 2.0 + 1e-9), None);
    }
}
