//! How the variance of counts grows with their mean over many samples: Taylor's power law.
//!
//! Source: Taylor, L.R. 1961, Nature 189:732–735. Every sample weighs the same, whatever its size.

use crate::counts::variance_law::VarianceLaw;
use crate::solve::least_squares::fit_line;

/// Mean and variance of the counts of one sample.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct MeanVariance {
    /// Mean count a unit.
    pub mean: f64,
    /// Variance of the counts, with `units - 1` degrees of freedom.
    pub variance: f64,
}

/// Sites that all have one mean get a variance of rounding from it, about 1e-32 of the squared mean, and its
/// logarithm would bend the whole line. The least that is counted is far above: means of 10,000 that differ
/// by one insect in 100 units have 1e-12 of it.
const ROUNDING: f64 = 1e-24;

impl MeanVariance {
    /// Whether mean and variance have a logarithm: neither is 0, the variance within rounding.
    pub fn has_logarithms(&self) -> bool {
        self.mean > 0.0
            && self.variance > ROUNDING * self.mean * self.mean
            && (self.mean + self.variance).is_finite()
    }
}

/// Taylor's power law `s² = a·m^b`, by least squares of ln s² on ln m.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct PowerLaw {
    /// Variance at a mean of 1; it depends on the size of a unit. As everywhere in the literature it is
    /// that of the line of logarithms, hence of a typical sample, below the mean of many.
    pub a: f64,
    /// The a of the mean variance instead, the mean of s²/m^b (Duan, N. 1983, J. Am. Stat. Assoc.
    /// 78:605–610; from memory): to foretell variances with, above all from samples of few units.
    pub a_of_mean_variance: f64,
    /// Slope of the logarithms: 1 for chance, above it for aggregation.
    pub b: f64,
    /// Standard error of b.
    pub b_standard_error: f64,
    /// Share of the variance of ln s² that the line explains; `None` if all s² are equal.
    pub r_squared: Option<f64>,
    /// Samples that the fit rests on.
    pub samples: u64,
    /// Samples left out: no logarithm, as their mean or their variance is 0 within rounding (or no number).
    pub samples_left_out: u64,
}

impl PowerLaw {
    /// The law as the mean variance of many samples at any mean, as intervals need it.
    pub fn law_of_mean_variance(&self) -> VarianceLaw {
        VarianceLaw::Power {
            a: self.a_of_mean_variance,
            b: self.b,
        }
    }
}

/// Fits Taylor's power law to samples; `None` for fewer than three samples with a mean and a variance
/// above 0, or if these all have the same mean.
pub fn fit_power_law(samples: &[MeanVariance]) -> Option<PowerLaw> {
    let usable = samples.iter().filter(|sample| sample.has_logarithms());
    let pairs: Vec<(f64, f64)> = usable
        .map(|sample| (sample.mean.ln(), sample.variance.ln()))
        .collect();
    let line = fit_line(&pairs)?;
    let above_the_line = |(x, y): &(f64, f64)| (y - line.slope * x).exp();
    let above: f64 = pairs.iter().map(above_the_line).sum();
    Some(PowerLaw {
        a: line.intercept.exp(),
        a_of_mean_variance: above / pairs.len() as f64,
        b: line.slope,
        b_standard_error: line.slope_standard_error,
        r_squared: line.r_squared,
        samples: pairs.len() as u64,
        samples_left_out: (samples.len() - pairs.len()) as u64,
    })
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    /// Beet webworms in 52 plots of 25 units: Beall 1940, Ecology 21:460–474, table 6, as (Σx, Σx²) of each
    /// plot; four treatments of 13 blocks.
    const WEBWORM_PLOTS: [(u32, u32); 52] = [
        (47, 153),
        (34, 102),
        (22, 54),
        (32, 80),
        (14, 26),
        (52, 192),
        (63, 283),
        (33, 81),
        (40, 112),
        (50, 162),
        (28, 62),
        (22, 46),
        (18, 38),
        (9, 15),
        (15, 23),
        (13, 17),
        (13, 21),
        (10, 12),
        (12, 26),
        (20, 44),
        (12, 14),
        (5, 5),
        (18, 36),
        (12, 24),
        (17, 27),
        (8, 8),
        (38, 94),
        (10, 14),
        (20, 44),
        (13, 31),
        (15, 31),
        (27, 71),
        (41, 117),
        (29, 53),
        (14, 24),
        (27, 55),
        (20, 38),
        (14, 22),
        (9, 11),
        (16, 22),
        (9, 13),
        (18, 32),
        (13, 21),
        (3, 3),
        (13, 21),
        (10, 16),
        (16, 38),
        (2, 2),
        (12, 16),
        (11, 21),
        (10, 18),
        (1, 1),
    ];

    fn webworm_plots() -> Vec<MeanVariance> {
        WEBWORM_PLOTS
            .iter()
            .map(|(sum, squares)| {
                let (sum, squares) = (f64::from(*sum), f64::from(*squares));
                MeanVariance {
                    mean: sum / 25.0,
                    variance: (squares - sum * sum / 25.0) / 24.0,
                }
            })
            .collect()
    }

    #[track_caller]
    fn assert_close(value: f64, expected: f64) {
        assert!(
            (value - expected).abs() <= 6e-7,
            "{value}, expected {expected}"
        );
    }

    #[test]
    fn webworms_in_52_plots() {
        // Counts: Beall 1940, as above. Results recomputed from them by another program.
        let taylor = fit_power_law(&webworm_plots()).expect("52 plots");
        assert_close(taylor.b, 1.129167);
        assert_close(taylor.b_standard_error, 0.045679);
        assert_close(taylor.a.ln(), 0.235389);
        assert_close(taylor.a, 1.265401);
        assert_close(taylor.a.log10(), 0.102228);
        assert_close(taylor.r_squared.expect("variances differ"), 0.924363);
        assert_eq!((taylor.samples, taylor.samples_left_out), (52, 0));
        // The mean of s²/m^b of the 52 plots.
        let of_plots = webworm_plots()
            .iter()
            .map(|plot| plot.variance / plot.mean.powf(taylor.b))
            .sum::<f64>();
        assert_close(taylor.a_of_mean_variance, of_plots / 52.0);
        assert!(taylor.a_of_mean_variance > taylor.a);
    }

    #[test]
    fn eight_treatments_of_corn_borers_and_webworms() {
        // Means and variances of the four treatments each of Beall 1940 (corn borers as printed in Bliss &
        // Fisher 1953, table 3); results recomputed from them by another program.
        let counts: [&[u64]; 8] = [
            &[
                19, 12, 18, 18, 11, 12, 7, 8, 4, 4, 1, 0, 1, 1, 0, 1, 0, 1, 0, 1, 0, 0, 0, 0, 0, 0,
                1,
            ],
            &[24, 16, 16, 18, 15, 9, 6, 5, 3, 4, 3, 0, 1],
            &[43, 35, 17, 11, 5, 4, 1, 2, 2],
            &[47, 23, 27, 9, 7, 3, 1, 1, 0, 0, 1, 1],
            &[117, 87, 50, 38, 21, 7, 2, 2, 0, 1],
            &[205, 84, 30, 4, 2],
            &[162, 88, 45, 23, 5, 2],
            &[227, 70, 21, 6, 1],
        ];
        let samples: Vec<MeanVariance> = counts
            .iter()
            .filter_map(|units| {
                let counts = crate::counts::frequencies::CountFrequencies::of_frequencies(units);
                Some(MeanVariance {
                    mean: counts.mean()?,
                    variance: counts.variance()?,
                })
            })
            .collect();
        let taylor = fit_power_law(&samples).expect("eight treatments");
        assert_close(taylor.b, 1.492457);
        assert_close(taylor.a, 1.682304);
        assert_close(taylor.r_squared.expect("variances differ"), 0.982282);
    }

    #[test]
    fn samples_without_a_logarithm_are_left_out_and_counted() {
        let mut samples = webworm_plots();
        let all = fit_power_law(&samples).expect("52 plots");
        // The last: three sites with a mean of 0.2 each, as their sums come out in binary.
        let of_rounding = (0.2 + 0.2 + 0.2) / 3.0 - 0.2_f64;
        assert!(of_rounding != 0.0);
        let none = [(0.0, 0.0), (2.0, 0.0), (f64::NAN, 1.0)];
        for (mean, variance) in none.into_iter().chain([(0.2, 1.5 * of_rounding.powi(2))]) {
            samples.push(MeanVariance { mean, variance });
        }
        let some = fit_power_law(&samples).expect("52 plots");
        assert_eq!((some.samples, some.samples_left_out), (52, 4));
        assert_eq!((some.a, some.b), (all.a, all.b));
    }

    #[test]
    fn too_few_samples_have_no_law() {
        let one = MeanVariance {
            mean: 2.0,
            variance: 3.0,
        };
        assert_eq!(fit_power_law(&[]), None);
        assert_eq!(
            fit_power_law(&[one, MeanVariance { mean: 4.0, ..one }]),
            None
        );
        assert_eq!(fit_power_law(&[one; 5]), None);
    }

    proptest! {
        #[test]
        fn an_exact_law_is_found(a in 0.2..5.0f64, b in 0.5..2.5f64) {
            let samples: Vec<MeanVariance> = [0.1, 0.7, 2.0, 9.0, 31.0]
                .iter()
                .map(|mean| MeanVariance { mean: *mean, variance: a * f64::powf(*mean, b) })
                .collect();
            let law = fit_power_law(&samples).expect("five samples");
            prop_assert!((law.a - a).abs() < 1e-9 * a && (law.b - b).abs() < 1e-9);
            prop_assert!((law.a_of_mean_variance - a).abs() < 1e-9 * a);
        }

        #[test]
        fn counting_in_other_units_leaves_the_slope(factor in 0.01..100.0f64) {
            let samples = webworm_plots();
            let scaled: Vec<MeanVariance> = samples
                .iter()
                .map(|sample| MeanVariance {
                    mean: sample.mean * factor,
                    variance: sample.variance * factor * factor,
                })
                .collect();
            let law = fit_power_law(&samples).expect("52 plots");
            let other = fit_power_law(&scaled).expect("52 plots");
            prop_assert!((law.b - other.b).abs() < 1e-9);
            // s² = a·m^b in units of 1/factor: a·factor^(2−b).
            prop_assert!((other.a / (law.a * factor.powf(2.0 - law.b)) - 1.0).abs() < 1e-9);
        }
    }
}
