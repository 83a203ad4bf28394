//! The range of a field's mean, and how sure a count is about a threshold, with the clumping of the whole season.
//!
//! A field's total count is read as a negative binomial count whose clumping is that of all this season's fields.
//! The range holds the means from which such a total is no surprise: with K = sites ÷ φ, `K ÷ (K + n·mean)` has a
//! Beta distribution, whose quantiles are those of F (Johnson, Kotz & Kemp 1992, Univariate Discrete
//! Distributions, chapter 5; citation from memory), taken half a count above the total, since whole counts cannot
//! be split. Student's t replaces the normal distribution for how well φ is known, and for fields that differ in
//! it. Coverage from one site up, and at zero, is measured in `tests/benches/INTERVALS.md`.

use statrs::distribution::{ContinuousCDF, Normal, StudentsT};
use statrs::function::beta::beta_reg;

use crate::sampling::season_clumping::{FieldCounts, SeasonClumping};
use crate::solve::bisection::fall_to_zero;

/// A field's own φ differs from the season's as an estimate from so many degrees of freedom does, which is by a
/// third or so: our choice, from simulation.
const FREEDOM_OF_FIELDS: f64 = 20.0;

/// An upper end so many times the mean says nothing: the lower end alone is given.
const MOST_TIMES_THE_MEAN: f64 = 10.0;

/// What can be said about a field's true mean.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum MeanRange {
    /// Between two ends.
    Between {
        /// Lower end.
        low: f64,
        /// Upper end.
        high: f64,
    },
    /// Nothing was found: fewer than this.
    FewerThan(f64),
    /// The count is too scattered or too small a sample for an upper end: at least this.
    AtLeast(f64),
    /// The season's fields are too few to know how clumped the counts are.
    NotGiven,
}

/// A field's count with the clumping of its season.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ClumpedMean {
    mean: f64,
    total: f64,
    units: f64,
    /// k of the whole sample's total.
    k: f64,
    /// Degrees of freedom for the clumping, none of them for chance.
    freedom: f64,
    given: bool,
}

impl ClumpedMean {
    /// A field's count with its season's clumping. `None` without a site, with fewer units than sites, or where
    /// the mean is no number or below 0.
    pub fn new(field: &FieldCounts, season: &SeasonClumping) -> Option<ClumpedMean> {
        let (sites, total) = (f64::from(field.sites), field.total());
        let level = (total + 0.5) / sites;
        // How much of the variance is clumping. Where nothing was found, all of it could be.
        let clumped = match total > 0.0 {
            true => season.phi() * level / (1.0 + season.phi() * level),
            false => 1.0,
        };
        let unknown = 1.0 / season.information() + 1.0 / FREEDOM_OF_FIELDS;
        field.is_sample().then_some(ClumpedMean {
            mean: field.mean,
            total,
            units: f64::from(field.units),
            k: sites / season.phi(),
            freedom: 1.0 / (clumped * clumped * unknown),
            given: season.gives_range(),
        })
    }

    /// The range that holds the true mean with this probability (0.95), over many fields. `None` unless the
    /// probability is between 0 and 1.
    pub fn range(&self, confidence: f64) -> Option<MeanRange> {
        let (low, high) = self.ends(confidence)?;
        Some(match () {
            () if !self.given => MeanRange::NotGiven,
            () if self.total == 0.0 => MeanRange::FewerThan(high),
            () if high > MOST_TIMES_THE_MEAN * self.mean => MeanRange::AtLeast(low),
            () => MeanRange::Between { low, high },
        })
    }

    /// Both ends, whether they would be given or not.
    fn ends(&self, confidence: f64) -> Option<(f64, f64)> {
        if !(confidence > 0.0 && confidence < 1.0) {
            return None;
        }
        let beyond = (1.0 - confidence) / 2.0;
        let student = self.student()?;
        let steps = fall_to_zero(|t| student.sf(t) - beyond, 1e-20, 1e20);
        let beyond = standard_normal().cdf(-steps);
        if self.total == 0.0 {
            // One end, so that all of the doubt is on its side.
            let high = self.k / self.units * (-(2.0 * beyond).ln() / self.k).exp_m1();
            return Some((0.0, high));
        }
        let low = fall_to_zero(|mean| beyond - self.tail_below(mean), 1e-12, 1e12);
        let high = fall_to_zero(|mean| self.tail_above(mean) - beyond, 1e-12, 1e12);
        Some((low, high))
    }

    /// How sure the count is that the true mean is at or above a threshold: a confidence, 2.5% where the threshold
    /// is at the upper end of the 95% range. It takes nothing for granted about the field before the visit, so it
    /// is not the share of such fields that are at their threshold. `None` unless the threshold is above 0.
    pub fn confidence_at_or_above(&self, threshold: f64) -> Option<f64> {
        let usable = threshold > 0.0 && threshold.is_finite();
        if !usable {
            return None;
        }
        let above = match self.total > 0.0 {
            true => self.tail_above(threshold),
            false => 0.5 * (-self.k * (self.units * threshold / self.k).ln_1p()).exp(),
        };
        moved_by_student(above, || self.tail_below(threshold), &self.student()?)
    }

    /// Chance of a larger mean than this, of the Beta distribution half a count above the total.
    fn tail_above(&self, mean: f64) -> f64 {
        let part = self.k / (self.k + self.units * mean);
        beta_reg(self.k, self.total + 0.5, part)
    }

    /// Chance of a smaller mean than this.
    fn tail_below(&self, mean: f64) -> f64 {
        let part = self.units * mean / (self.k + self.units * mean);
        beta_reg(self.total + 0.5, self.k, part)
    }

    pub(crate) fn student(&self) -> Option<StudentsT> {
        StudentsT::new(0.0, 1.0, self.freedom).ok()
    }
}

/// The chance `above` as it is with Student's distribution in place of the normal one: less sure. Above one half it is
/// computed from the other tail, which keeps its digits.
pub(crate) fn moved_by_student(
    above: f64,
    below: impl FnOnce() -> f64,
    student: &StudentsT,
) -> Option<f64> {
    let tail = |chance: f64| match chance > 0.0 {
        true => student.sf(-standard_normal().inverse_cdf(chance)),
        false => 0.0,
    };
    let sure = match above > 0.5 {
        true => 1.0 - tail(below()),
        false => tail(above),
    };
    sure.is_finite().then_some(sure.clamp(0.0, 1.0))
}

fn standard_normal() -> Normal {
    Normal::standard()
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;
    use crate::sampling::season_clumping::tests::{field_of, season_of_eight, season_with};

    /// Total, sites, units, φ, information, confidence, threshold; low, high, confidence at or above the threshold.
    /// By scipy 1.17 (F, Beta, Student's t), with the equations of this file, written there before this program.
    type Row = (f64, u32, u32, f64, f64, f64, f64, [f64; 3]);
    const ROWS: [Row; 9] = [
        (
            0.0,
            4,
            20,
            0.55,
            93.0,
            0.95,
            3.2,
            [0.0, 0.214264, 2.60276e-05],
        ),
        (0.0, 1, 5, 0.55, 93.0, 0.95, 3.2, [0.0, 1.95595, 0.0138686]),
        (
            20.0,
            4,
            20,
            0.55,
            93.0,
            0.95,
            3.2,
            [0.453809, 2.80245, 0.0145813],
        ),
        (
            64.0,
            4,
            20,
            0.55,
            93.0,
            0.95,
            3.2,
            [1.58682, 8.56758, 0.548809],
        ),
        (
            64.0,
            4,
            20,
            0.55,
            93.0,
            0.80,
            3.2,
            [2.05179, 5.92978, 0.548809],
        ),
        (
            150.0,
            6,
            30,
            0.25,
            93.0,
            0.95,
            3.2,
            [3.28606, 8.25045, 0.980989],
        ),
        (
            40.0,
            2,
            10,
            1.4,
            64.0,
            0.95,
            3.2,
            [1.10554, 82.4078, 0.704662],
        ),
        (
            0.0,
            8,
            40,
            0.001,
            265.0,
            0.95,
            3.2,
            [0.0, 0.0830724, 1.66638e-12],
        ),
        (
            12.0,
            3,
            15,
            0.6,
            4.0,
            0.95,
            3.2,
            [0.256924, 3.78239, 0.0352056],
        ),
    ];

    #[test]
    fn the_ends_and_confidences_are_those_of_scipy() {
        for (total, sites, units, phi, information, confidence, threshold, expected) in ROWS {
            let season = season_with(phi, information);
            let field = field_of(total, sites, units);
            let field = ClumpedMean::new(&field, &season).expect("a sample");
            let (low, high) = field.ends(confidence).expect("a confidence");
            let at = field.confidence_at_or_above(threshold).expect("above 0");
            for (found, expected) in [low, high, at].into_iter().zip(expected) {
                let near = (found - expected).abs() <= 6e-6 * expected;
                assert!(
                    near,
                    "{total} of {sites} sites: {found}, by scipy {expected}"
                );
            }
        }
    }

    #[test]
    fn the_ranges_of_a_season_computed_by_another_program() {
        let season = SeasonClumping::of(season_of_eight());
        for (field, (low, high)) in season_of_eight().iter().zip([
            (0.369544, 1.96195),
            (1.38910, 6.35522),
            (0.0501027, 0.753328),
            (0.0, 0.255728),
            (2.87705, 10.9547),
            (0.574109, 5.50510),
            (0.383869, 1.51370),
            (1.03196, 26.5782),
        ]) {
            let field = ClumpedMean::new(field, &season).expect("a sample");
            let found = field.ends(0.95).expect("a confidence");
            assert!((found.0 - low).abs() <= 6e-6 * low, "{found:?}");
            assert!((found.1 - high).abs() <= 6e-6 * high, "{found:?}");
            // Information 8.8: the season has too few fields.
            assert_eq!(field.range(0.95), Some(MeanRange::NotGiven));
        }
    }

    #[test]
    fn a_range_says_no_more_than_the_sample_does() {
        let range = |total: f64, sites: u32, phi: f64, information: f64| {
            let field = field_of(total, sites, 5 * sites);
            let season = season_with(phi, information);
            let field = ClumpedMean::new(&field, &season).expect("a sample");
            field.range(0.95).expect("a confidence")
        };
        assert!(matches!(
            range(20.0, 4, 0.55, 93.0),
            MeanRange::Between { .. }
        ));
        assert!(matches!(range(0.0, 4, 0.55, 93.0), MeanRange::FewerThan(_)));
        assert!(matches!(range(0.0, 1, 0.55, 93.0), MeanRange::FewerThan(_)));
        // 82.4 is over ten times the mean of 4.
        assert!(matches!(range(40.0, 2, 1.4, 64.0), MeanRange::AtLeast(low) if low > 1.1));
        assert_eq!(range(20.0, 4, 0.6, 4.0), MeanRange::NotGiven);
    }

    #[test]
    fn without_clumping_nothing_found_is_the_rule_of_three() {
        // Hanley, J.A. & Lippman-Hand, A. 1983, JAMA 249:1743–1745 (from memory): −ln 0.05 ÷ n, about 3 ÷ n.
        let season = season_with(1e-9, 1e12);
        let field = ClumpedMean::new(&field_of(0.0, 8, 40), &season).expect("a sample");
        let (_, high) = field.ends(0.95).expect("a confidence");
        // One tail is 2·Φ(−t) with t of 20 degrees of freedom, which is a little less than 0.05.
        let steps = fall_to_zero(
            |t| field.student().expect("freedom").sf(t) - 0.025,
            1e-9,
            1e9,
        );
        let tail = 2.0 * standard_normal().cdf(-steps);
        assert!((high + tail.ln() / 40.0).abs() < 1e-9, "{high}");
        assert!((0.03..0.05).contains(&tail), "{tail}");
    }

    #[test]
    fn what_is_no_sample_or_no_threshold_has_no_answer() {
        let season = season_with(0.5, 90.0);
        let new = |sites, units, mean| {
            let variance_between_sites = None;
            let field = FieldCounts {
                sites,
                units,
                mean,
                variance_between_sites,
            };
            ClumpedMean::new(&field, &season)
        };
        assert_eq!(new(0, 0, 1.0), None);
        assert_eq!(new(4, 3, 1.0), None);
        assert_eq!(new(4, 20, f64::NAN), None);
        assert_eq!(new(4, 20, -1.0), None);
        let field = new(4, 20, 1.0).expect("a sample");
        for threshold in [0.0, -1.0, f64::NAN, f64::INFINITY] {
            assert_eq!(field.confidence_at_or_above(threshold), None);
        }
        for confidence in [0.0, 1.0, -0.5, 95.0, f64::NAN] {
            assert_eq!(field.range(confidence), None);
        }
    }

    proptest! {
        #[test]
        fn the_range_and_the_confidence_agree(
            total in 0u32..400, sites in 1u32..25, phi in 0.001..3.0f64, information in 9.0..300.0f64,
        ) {
            let season = season_with(phi, information);
            let field = field_of(f64::from(total), sites, 5 * sites);
            let field = ClumpedMean::new(&field, &season).expect("a sample");
            let (low, high) = field.ends(0.95).expect("a confidence");
            prop_assert!(low <= field.mean && field.mean < high);
            let at_high = field.confidence_at_or_above(high).expect("above 0");
            prop_assert!((at_high - 0.025).abs() < 1e-9, "{at_high}");
            if total > 0 {
                let at_low = field.confidence_at_or_above(low).expect("above 0");
                prop_assert!((at_low - 0.975).abs() < 1e-9, "{at_low}");
            }
        }

        #[test]
        fn a_higher_threshold_is_never_more_sure(
            total in 0u32..400, sites in 1u32..25, phi in 0.001..3.0f64,
            threshold in 0.01..30.0f64, step in 0.0..10.0f64,
        ) {
            let season = season_with(phi, 60.0);
            let field = field_of(f64::from(total), sites, 5 * sites);
            let field = ClumpedMean::new(&field, &season).expect("a sample");
            let at_low = field.confidence_at_or_above(threshold).expect("above 0");
            let at_high = field.confidence_at_or_above(threshold + step).expect("above 0");
            prop_assert!(at_high <= at_low + 1e-12);
        }
    }
}
