//! How clumped a season's counts are: one figure for all fields, borrowed by each for its interval.
//!
//! A site's total is read as a negative binomial count with mean μ and variance `μ + φ·μ²`. φ = 1/k is found by
//! moments over the fields of a season: given a field's total, the variance between the totals of its sites has
//! the expectation of a Dirichlet–multinomial count (Mosimann, J.E. 1962, Biometrika 49:65–82; citation from
//! memory), so each field says how far its own variance is from that of a φ, whatever its mean. The root of the
//! weighted sum is φ. An assumed φ of 0.6 takes part with the weight of two or three fields, so that a season's
//! first fields have a figure at all. How well intervals do with it is measured in `tests/benches/INTERVALS.md`.

use crate::solve::bisection::fall_to_zero;

/// φ that is assumed before a field was seen, and how much it counts: our choices, from simulation.
const ASSUMED_PHI: f64 = 0.6;
const ASSUMED_INFORMATION: f64 = 4.0;

/// φ is sought between these: less is chance alone, more is a pest at one site of a field.
const LEAST_PHI: f64 = 0.001;
const MOST_PHI: f64 = 50.0;

/// With less information than this, of about five fields with something at two sites or more, φ is mostly the
/// assumed one, and intervals of extremely patchy counts are too short: our choice, from simulation.
const LEAST_INFORMATION: f64 = 9.0;

/// What a field's sample says: the columns of a visit that the figures of this folder are computed from.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct FieldCounts {
    /// Sites sampled.
    pub sites: u32,
    /// Units examined at all sites together.
    pub units: u32,
    /// Mean of the site means, count per unit.
    pub mean: f64,
    /// Variance of the site means; `None` for a single site.
    pub variance_between_sites: Option<f64>,
}

impl FieldCounts {
    /// All that was counted, as the mean says it. Not whole where a catch was divided by its nights, or where
    /// sites have different numbers of units.
    pub(crate) fn total(&self) -> f64 {
        self.mean * f64::from(self.units)
    }

    /// Whether the numbers are those of a sample.
    pub(crate) fn is_sample(&self) -> bool {
        self.sites > 0 && self.units >= self.sites && self.mean.is_finite() && self.mean >= 0.0
    }
}

/// The clumping of one season's counts under one protocol.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct SeasonClumping {
    phi: f64,
    information: f64,
    /// Information on the assumed φ: whether the fields would have shown it, had it been there.
    information_on_assumed: f64,
    fields: u32,
}

/// A field of the fit.
struct Weighed {
    sites: f64,
    /// Mean total of a site.
    site_total: f64,
    /// Variance between the totals of sites.
    variance: f64,
}

/// What a field says about a φ.
struct Said {
    /// Weight times how much larger its variance is than that of this φ, in proportion.
    score: f64,
    information: f64,
}

impl Weighed {
    /// `None` of a field that says nothing: a single site, or nothing counted.
    fn of(field: &FieldCounts) -> Option<Weighed> {
        let variance = field.variance_between_sites?;
        let usable = field.is_sample() && field.sites > 1 && field.mean > 0.0;
        let per_site = f64::from(field.units) / f64::from(field.sites);
        (usable && variance.is_finite() && variance >= 0.0).then(|| Weighed {
            sites: f64::from(field.sites),
            site_total: field.mean * per_site,
            variance: variance * per_site * per_site,
        })
    }

    fn says(&self, phi: f64) -> Said {
        let sites = self.sites;
        let mean = self.site_total;
        let expected = mean * sites * (1.0 + phi * mean) / (sites + phi);
        // Half an egg more, as in the interval: a field of one egg has a weight.
        let level = mean + 0.5 / sites;
        let variance = level + phi * level * level;
        let clumped = phi * level / (1.0 + phi * level);
        let freedom = 2.0 / (2.0 / (sites - 1.0) + (6.0 * phi + 1.0 / variance) / sites);
        Said {
            score: freedom * clumped * (self.variance / expected - 1.0),
            information: freedom * clumped * clumped,
        }
    }
}

impl SeasonClumping {
    /// The clumping of a season's fields, of which each says as much as its sites and counts can. The order of the
    /// fields does not matter, to the last bit.
    pub fn of(fields: impl IntoIterator<Item = FieldCounts>) -> SeasonClumping {
        let mut fields: Vec<Weighed> = fields
            .into_iter()
            .filter_map(|field| Weighed::of(&field))
            .collect();
        fields.sort_by(|one, other| {
            let by = |of: fn(&Weighed) -> f64| of(one).total_cmp(&of(other));
            by(|field| field.sites)
                .then_with(|| by(|field| field.site_total))
                .then_with(|| by(|field| field.variance))
        });
        let score = |phi: f64| {
            let of_fields: f64 = fields.iter().map(|field| field.says(phi).score).sum();
            of_fields + ASSUMED_INFORMATION * (ASSUMED_PHI / phi).ln()
        };
        let information = |phi: f64| {
            let of_fields: f64 = fields.iter().map(|field| field.says(phi).information).sum();
            ASSUMED_INFORMATION + of_fields
        };
        let phi = match score(LEAST_PHI) > 0.0 {
            true => fall_to_zero(score, LEAST_PHI, MOST_PHI),
            false => LEAST_PHI,
        };
        SeasonClumping {
            phi,
            information: information(phi),
            information_on_assumed: information(ASSUMED_PHI),
            fields: u32::try_from(fields.len()).unwrap_or(u32::MAX),
        }
    }

    /// 1/k of a site's total.
    pub(crate) fn phi(&self) -> f64 {
        self.phi
    }

    /// k of the total of a site: the smaller, the more clumped.
    pub fn k(&self) -> f64 {
        1.0 / self.phi
    }

    /// How well k is known: its coefficient of variation is about √(2 ÷ information). At least 4.
    pub fn information(&self) -> f64 {
        self.information
    }

    /// Fields that k is based on: those with something counted and two sites or more.
    pub fn fields(&self) -> u32 {
        self.fields
    }

    /// Whether the season has shown enough for the range of a field. Counts that are no more clumped than chance
    /// say little about a small φ, so it is enough that they would have shown the assumed one.
    pub fn gives_range(&self) -> bool {
        self.information.max(self.information_on_assumed) >= LEAST_INFORMATION
    }
}

#[cfg(test)]
pub(crate) mod tests {
    use proptest::prelude::*;

    use super::*;

    /// A field by the totals of its sites, five heads each.
    fn field_of_sites(totals: &[f64]) -> FieldCounts {
        let sites = totals.len() as f64;
        let mean = totals.iter().sum::<f64>() / sites / 5.0;
        let squares: f64 = totals
            .iter()
            .map(|total| (total / 5.0 - mean).powi(2))
            .sum();
        FieldCounts {
            sites: totals.len() as u32,
            units: 5 * totals.len() as u32,
            mean,
            variance_between_sites: (totals.len() > 1).then(|| squares / (sites - 1.0)),
        }
    }

    pub(crate) fn season_of_eight() -> Vec<FieldCounts> {
        let fields: [&[f64]; 8] = [
            &[3.0, 5.0, 0.0, 8.0],
            &[10.0, 22.0, 7.0, 15.0],
            &[1.0, 0.0, 2.0],
            &[0.0; 4],
            &[30.0, 12.0, 44.0, 18.0, 25.0],
            &[6.0, 9.0],
            &[2.0, 4.0, 1.0, 7.0, 3.0, 5.0],
            &[17.0],
        ];
        fields.map(field_of_sites).to_vec()
    }

    pub(crate) fn season_with(phi: f64, information: f64) -> SeasonClumping {
        SeasonClumping {
            phi,
            information,
            information_on_assumed: information,
            fields: 70,
        }
    }

    pub(crate) fn field_of(total: f64, sites: u32, units: u32) -> FieldCounts {
        FieldCounts {
            sites,
            units,
            mean: total / f64::from(units),
            variance_between_sites: None,
        }
    }

    #[test]
    fn a_season_computed_by_another_program() {
        // By numpy 2.4 with the same equations, written there before this program: φ 0.355679, information 8.75643.
        let season = SeasonClumping::of(season_of_eight());
        assert!((1.0 / season.k() - 0.355_679).abs() < 5e-7, "{season:?}");
        assert!((season.information() - 8.756_43).abs() < 5e-6, "{season:?}");
        assert_eq!(season.fields(), 6);
        assert!(!season.gives_range());
    }

    #[test]
    fn without_fields_the_assumed_clumping_remains() {
        let season = SeasonClumping::of([]);
        assert!((season.k() - 1.0 / 0.6).abs() < 1e-12);
        assert_eq!(season.information(), 4.0);
        assert!(!season.gives_range());
        let single = FieldCounts {
            sites: 1,
            units: 5,
            mean: 4.0,
            variance_between_sites: None,
        };
        let nothing = FieldCounts {
            sites: 4,
            units: 20,
            mean: 0.0,
            variance_between_sites: Some(0.0),
        };
        assert_eq!(SeasonClumping::of([single, nothing]), season);
    }

    #[test]
    fn even_counts_are_chance_alone_and_have_a_range() {
        let even = FieldCounts {
            sites: 8,
            units: 40,
            mean: 3.0,
            variance_between_sites: Some(0.1),
        };
        let season = SeasonClumping::of([even; 12]);
        assert!(season.k() > 50.0 && season.gives_range(), "{season:?}");
        assert!(!SeasonClumping::of([even]).gives_range());
    }

    #[test]
    fn one_gross_site_makes_a_season_more_clumped() {
        let usual = season_of_eight();
        let mut gross = usual.clone();
        gross.push(FieldCounts {
            sites: 4,
            units: 20,
            mean: 52.0,
            variance_between_sites: Some(9800.0),
        });
        assert!(SeasonClumping::of(gross).k() < SeasonClumping::of(usual).k());
    }

    proptest! {
        #[test]
        fn the_order_of_the_fields_changes_no_bit(
            fields in proptest::collection::vec((2u32..9, 0.01..20.0f64, 0.0..60.0f64), 1..40),
            by in 0usize..40,
        ) {
            let mut fields: Vec<FieldCounts> = fields.iter().map(|&(sites, mean, variance)| FieldCounts {
                sites, units: 5 * sites, mean, variance_between_sites: Some(variance),
            }).collect();
            let season = SeasonClumping::of(fields.clone());
            let turned = by % fields.len();
            fields.rotate_left(turned);
            prop_assert_eq!(SeasonClumping::of(fields), season);
            prop_assert!(season.k() >= 0.02 && season.k() <= 1000.0);
            prop_assert!(season.information() >= 4.0);
        }
    }
}
