//! How likely a field is at its threshold, given its count and the means of all this season's fields.
//!
//! A confidence takes nothing for granted about a field, and so is too sure of high means in a season in which most
//! fields are low. Here the season's distribution of means is the prior: with φ of the season, 1 ÷ (1 + φ × mean total
//! of a site) has a Beta distribution over the fields (a, b), which the counts of the fields determine by maximum
//! likelihood; a field's own count moves it to (a + sites ÷ φ, b + total) (the Beta negative binomial; Johnson, Kotz
//! & Kemp 1992, Univariate Discrete Distributions, chapter 6; citation from memory). The probability is one of
//! frequency: of the fields that have 0.65, about two thirds are at their threshold. How near it comes, and that a
//! season of few fields has none, is measured in `tests/benches/INTERVALS.md`.

use std::collections::BTreeMap;

use statrs::function::beta::beta_reg;
use statrs::function::gamma::{digamma, ln_gamma};

use crate::sampling::clumped_mean::{ClumpedMean, moved_by_student};
use crate::sampling::season_clumping::{FieldCounts, SeasonClumping};

/// Fewer fields than this say too little about the season's means: our choice, from simulation.
pub const LEAST_FIELDS: u32 = 50;

/// Newton's steps for (a, b); a season takes about eight.
const MOST_STEPS: u32 = 200;

/// a and b are sought between these. At the upper end all fields would have one mean.
const LEAST_SHAPE: f64 = 1e-3;
const MOST_SHAPE: f64 = 1e4;

/// The distribution of the means of a season's fields.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct SeasonMeans {
    a: f64,
    b: f64,
    clumping: SeasonClumping,
}

/// Fields by (sites ÷ φ, total), the bits of both, with how many there are. Numbers that are not below 0 have the order
/// of their bits, so that a sum over them is the same in any order of the fields.
type Counted = BTreeMap<(u64, u64), u32>;

impl SeasonMeans {
    /// The distribution of the means of these fields. `None` of fewer than [`LEAST_FIELDS`] samples, or where nothing
    /// was found in any of them.
    pub fn of(
        fields: impl IntoIterator<Item = FieldCounts>,
        clumping: SeasonClumping,
    ) -> Option<SeasonMeans> {
        let mut counted = Counted::new();
        for field in fields.into_iter().filter(FieldCounts::is_sample) {
            let k = f64::from(field.sites) / clumping.phi();
            *counted
                .entry((k.to_bits(), field.total().to_bits()))
                .or_default() += 1;
        }
        let found = counted
            .keys()
            .any(|(_, total)| f64::from_bits(*total) > 0.0);
        let fields: u32 = counted.values().sum();
        let (a, b) = (found && fields >= LEAST_FIELDS).then(|| most_likely(&counted))?;
        Some(SeasonMeans { a, b, clumping })
    }

    /// The probability that the mean of a field with this count is at or above a threshold. `None` unless the threshold
    /// is above 0 and the field is a sample.
    pub fn probability_at_or_above(&self, field: &FieldCounts, threshold: f64) -> Option<f64> {
        let mean = ClumpedMean::new(field, &self.clumping)?;
        if !(threshold > 0.0 && threshold.is_finite()) {
            return None;
        }
        let (sites, total) = (f64::from(field.sites), field.total());
        let phi = self.clumping.phi();
        let (a, b) = (self.a + sites / phi, self.b + total);
        let site_total = phi * threshold * f64::from(field.units) / sites;
        let above = beta_reg(a, b, 1.0 / (1.0 + site_total));
        let below = || beta_reg(b, a, site_total / (1.0 + site_total));
        match total > 0.0 {
            true => moved_by_student(above, below, &mean.student()?),
            false => Some(above),
        }
    }
}

/// (a, b) that make the counts most likely, by Newton's method in their logarithms, each step halved until it is one
/// uphill.
fn most_likely(counted: &Counted) -> (f64, f64) {
    let mut at = [0.0, 0.0];
    let mut height = log_likelihood(counted, at);
    for _ in 0..MOST_STEPS {
        let slope = slope(counted, at);
        let mut step = newton_step(counted, at, slope);
        let next = loop {
            let next = within(at, step);
            if log_likelihood(counted, next) > height || step[0].hypot(step[1]) < 1e-10 {
                break next;
            }
            step = step.map(|part| part / 2.0);
        };
        let moved = (next[0] - at[0]).hypot(next[1] - at[1]);
        let higher = log_likelihood(counted, next);
        if higher <= height {
            break;
        }
        (at, height) = (next, higher);
        if moved < 1e-9 {
            break;
        }
    }
    (at[0].exp(), at[1].exp())
}

fn within(at: [f64; 2], step: [f64; 2]) -> [f64; 2] {
    let bounded = |at: f64, step: f64| (at + step).clamp(LEAST_SHAPE.ln(), MOST_SHAPE.ln());
    [bounded(at[0], step[0]), bounded(at[1], step[1])]
}

/// Newton's step, or the way uphill where the surface is not bent downward; no longer than 1 in a logarithm.
fn newton_step(counted: &Counted, at: [f64; 2], slope_here: [f64; 2]) -> [f64; 2] {
    const AWAY: f64 = 1e-5;
    let bent = |toward: [f64; 2]| {
        let there = [at[0] + AWAY * toward[0], at[1] + AWAY * toward[1]];
        let back = [at[0] - AWAY * toward[0], at[1] - AWAY * toward[1]];
        let (there, back) = (slope(counted, there), slope(counted, back));
        [0, 1].map(|part| (there[part] - back[part]) / (2.0 * AWAY))
    };
    let (of_a, of_b) = (bent([1.0, 0.0]), bent([0.0, 1.0]));
    let across = (of_a[1] + of_b[0]) / 2.0;
    let determinant = of_a[0] * of_b[1] - across * across;
    let [up_a, up_b] = slope_here;
    let step = match of_a[0] < 0.0 && determinant > 0.0 {
        true => [
            (across * up_b - of_b[1] * up_a) / determinant,
            (across * up_a - of_a[0] * up_b) / determinant,
        ],
        false => slope_here,
    };
    let length = step[0].hypot(step[1]);
    step.map(|part| part / length.max(1.0))
}

fn log_likelihood(counted: &Counted, at: [f64; 2]) -> f64 {
    let (a, b) = (at[0].exp(), at[1].exp());
    let log_beta = |a: f64, b: f64| ln_gamma(a) + ln_gamma(b) - ln_gamma(a + b);
    let prior = log_beta(a, b);
    sum(counted, |k, total| log_beta(a + k, b + total) - prior)
}

/// Slope of the log likelihood in the logarithms of a and b.
fn slope(counted: &Counted, at: [f64; 2]) -> [f64; 2] {
    let (a, b) = (at[0].exp(), at[1].exp());
    let (of_a, of_b, of_both) = (digamma(a), digamma(b), digamma(a + b));
    let both = |k: f64, total: f64| digamma(a + b + k + total) - of_both;
    [
        a * sum(counted, |k, total| digamma(a + k) - of_a - both(k, total)),
        b * sum(counted, |k, total| {
            digamma(b + total) - of_b - both(k, total)
        }),
    ]
}

fn sum(counted: &Counted, of: impl Fn(f64, f64) -> f64) -> f64 {
    let parts = counted.iter().map(|((k, total), fields)| {
        f64::from(*fields) * of(f64::from_bits(*k), f64::from_bits(*total))
    });
    parts.sum()
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;
    use crate::sampling::season_clumping::tests::{field_of, season_of_eight};

    /// The season of eight fields, seven times over.
    fn season_of_56() -> Vec<FieldCounts> {
        [(); 7].iter().flat_map(|()| season_of_eight()).collect()
    }

    fn means_of(fields: &[FieldCounts]) -> SeasonMeans {
        let clumping = SeasonClumping::of(fields.iter().copied());
        SeasonMeans::of(fields.iter().copied(), clumping).expect("fields enough")
    }

    #[test]
    fn a_season_fitted_by_scipy() {
        // scipy 1.17, Nelder–Mead on the same likelihood (tests/reference/clumped_fields.py).
        let fields = season_of_56();
        let season = means_of(&fields);
        assert!((season.a - 1.241_261_66).abs() < 1e-6, "{season:?}");
        assert!((season.b - 1.177_514_52).abs() < 1e-6, "{season:?}");
        for (field, expected) in season_of_eight().iter().zip([
            7.241_921_0e-5,
            0.229_077_061,
            1.494_802_5e-7,
            2.717_748_3e-13,
            0.975_374_975,
            0.032_395_357_3,
            1.320_264_3e-6,
            0.442_823_58,
        ]) {
            let found = season.probability_at_or_above(field, 3.2).expect("above 0");
            assert!((found - expected).abs() <= 1e-5 * expected, "{found}");
        }
    }

    #[test]
    fn a_season_of_few_fields_or_of_none_found_has_no_prior() {
        let fields = season_of_56();
        let clumping = SeasonClumping::of(fields.iter().copied());
        let of = |fields: &[FieldCounts]| SeasonMeans::of(fields.iter().copied(), clumping);
        assert_eq!(of(&fields[..49]), None);
        assert!(of(&fields[..50]).is_some());
        assert_eq!(of(&[field_of(0.0, 4, 20); 60]), None);
        let season = means_of(&fields);
        for threshold in [0.0, -1.0, f64::NAN, f64::INFINITY] {
            assert_eq!(season.probability_at_or_above(&fields[0], threshold), None);
        }
        assert_eq!(
            season.probability_at_or_above(&field_of(3.0, 0, 20), 3.2),
            None
        );
    }

    #[test]
    fn fields_that_are_all_alike_end_at_a_bound() {
        let alike = FieldCounts {
            variance_between_sites: Some(0.8),
            ..field_of(60.0, 4, 20)
        };
        let season = means_of(&[alike; 80]);
        assert!(season.a <= MOST_SHAPE * 1.000_001 && season.b <= MOST_SHAPE * 1.000_001);
        let near = season
            .probability_at_or_above(&alike, 3.2)
            .expect("above 0");
        assert!(
            near < 0.4,
            "the fields of a mean of 3 are below 3.2: {near}"
        );
    }

    proptest! {
        #[test]
        fn the_order_of_the_fields_changes_no_bit(by in 0usize..56) {
            let mut fields = season_of_56();
            let season = means_of(&fields);
            fields.rotate_left(by);
            prop_assert_eq!(means_of(&fields), season);
        }

        #[test]
        fn a_higher_threshold_is_never_more_likely(
            total in 0u32..400, sites in 1u32..25, threshold in 0.01..30.0f64, step in 0.0..10.0f64,
        ) {
            let season = means_of(&season_of_56());
            let field = field_of(f64::from(total), sites, 5 * sites);
            let at_low = season.probability_at_or_above(&field, threshold).expect("above 0");
            let at_high = season.probability_at_or_above(&field, threshold + step).expect("above 0");
            prop_assert!((0.0..=1.0).contains(&at_low) && at_high <= at_low + 1e-12);
        }
    }
}
