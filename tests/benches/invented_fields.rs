//! Invented fields whose true mean is known: sites with a Gamma distributed mean each, negative binomial units within.

use rand::{Rng, seq::IndexedRandom};
use rand_chacha::ChaCha8Rng;
use rand_distr::{Distribution, Gamma, LogNormal, StandardNormal};
use stats::sampling::season_clumping::FieldCounts;
use stats::sampling::simulation::{Spread, UnitCounts};

pub const UNITS_PER_SITE: u32 = 5;

/// How the invented pest is spread in a field.
#[derive(Clone, Copy)]
pub struct Scatter {
    pub name: &'static str,
    /// Shape of the Gamma distribution of the sites' means.
    pub between_sites: f64,
    /// k of the units within a site.
    pub within_sites: f64,
}

/// Published k of single units lie between 0.65 (codling moths in traps) and 2.0 (webworms).
pub const SCATTERS: [Scatter; 3] = [
    Scatter {
        name: "even",
        between_sites: 8.0,
        within_sites: 2.0,
    },
    Scatter {
        name: "patchy",
        between_sites: 3.0,
        within_sites: 1.2,
    },
    Scatter {
        name: "extreme",
        between_sites: 1.0,
        within_sites: 0.5,
    },
];

impl Scatter {
    /// A site of a field with this mean, a source of counts.
    pub fn site(&self, field_mean: f64, chance: &mut ChaCha8Rng) -> UnitCounts {
        let sites = Gamma::new(self.between_sites, field_mean / self.between_sites);
        let site_mean = sites.expect("shape and mean are above 0").sample(chance);
        let spread = Spread::NegativeBinomial {
            k: self.within_sites,
        };
        UnitCounts::new(spread, site_mean).expect("a drawn mean is not below 0")
    }

    /// This scatter, both shapes times a factor.
    pub fn times(self, factor: f64) -> Scatter {
        Scatter {
            between_sites: self.between_sites * factor,
            within_sites: self.within_sites * factor,
            ..self
        }
    }
}

/// What is out of the ordinary in a season's fields.
#[derive(Clone, Copy)]
pub struct Oddity {
    pub name: &'static str,
    /// Fields of the season.
    pub fields: usize,
    /// Standard deviation of the logarithm of a field's own k.
    pub k_differs: f64,
    /// Sites that are at a field's edge, where three times as much is laid.
    pub edge: Edge,
    /// Whether one site of the season has ten times its count and 200 more.
    pub gross_site: bool,
    /// Share of the fields that were treated: 0.07 of the mean, half of k.
    pub treated: f64,
    /// Whether sites have two to five units each, at random.
    pub uneven_units: bool,
}

#[derive(Clone, Copy, PartialEq, Eq)]
pub enum Edge {
    None,
    /// 40% of the sites, by chance.
    ByChance,
    /// Always two of five sites.
    ByDesign,
    /// The same, and each site names its zone.
    ByDesignNamed,
}

pub const ORDINARY: Oddity = Oddity {
    name: "70 fields, k differs by sd 0.3",
    fields: 70,
    k_differs: 0.3,
    edge: Edge::None,
    gross_site: false,
    treated: 0.0,
    uneven_units: false,
};

/// An invented field: what is true, and what a scout found.
pub struct Field {
    pub true_mean: f64,
    pub threshold: f64,
    pub site_means: Vec<f64>,
    pub units: u32,
    /// Whether the first two of five sites name the edge as their zone, and the others the inside.
    pub zones_named: bool,
}

impl Field {
    pub fn counts(&self) -> FieldCounts {
        let sites = self.site_means.len() as f64;
        let mean = self.site_means.iter().sum::<f64>() / sites;
        let at_edge = if self.zones_named {
            2 * self.site_means.len() / 5
        } else {
            0
        };
        let zones = [&self.site_means[..at_edge], &self.site_means[at_edge..]];
        // Weighted as the design has them; where a zone has a single site, the scatter is not known.
        let variances = zones
            .into_iter()
            .filter(|zone| !zone.is_empty())
            .map(|zone| {
                let number = zone.len() as f64;
                let mean = zone.iter().sum::<f64>() / number;
                let squares: f64 = zone.iter().map(|site| (site - mean).powi(2)).sum();
                (number > 1.0).then(|| number / sites * squares / (number - 1.0))
            });
        let variance_between_sites = variances.sum();
        FieldCounts {
            sites: self.site_means.len() as u32,
            units: self.units,
            mean,
            variance_between_sites,
        }
    }

    /// Whether the field is truly at its threshold.
    pub fn at_threshold(&self) -> bool {
        self.true_mean >= self.threshold
    }
}

impl Oddity {
    /// The fields of a season: means mostly from 0.3 to 8, two to eight sites, thresholds mostly from 1.2 to 9.
    pub fn season(&self, scatter: Scatter, chance: &mut ChaCha8Rng) -> Vec<Field> {
        let log_normal = |middle: f64, spread: f64| {
            LogNormal::new(middle.ln(), spread).expect("a spread above 0")
        };
        let (means, thresholds) = (log_normal(1.5, 0.8), log_normal(3.2, 0.5));
        let mut fields: Vec<Field> = (0..self.fields)
            .map(|_| {
                let sites = *[2, 3, 4, 4, 5, 6, 8, 8].choose(chance).expect("not empty");
                let mut field = self.field(scatter, means.sample(chance), sites, chance);
                field.threshold = thresholds.sample(chance);
                field
            })
            .collect();
        if self.gross_site {
            let site = &mut fields[0].site_means[0];
            *site = 10.0 * *site + 200.0 / f64::from(UNITS_PER_SITE);
        }
        fields
    }

    /// A field with this mean and number of sites; its threshold is left to others.
    pub fn field(&self, scatter: Scatter, mean: f64, sites: u32, chance: &mut ChaCha8Rng) -> Field {
        let own: f64 = chance.sample(StandardNormal);
        let mut scatter = scatter.times((self.k_differs * own).exp());
        let mut true_mean = mean;
        if self.treated > 0.0 && chance.random_bool(self.treated) {
            true_mean *= 0.07;
            scatter = scatter.times(0.5);
        }
        let mut units = 0;
        let site_means = (0..sites)
            .map(|site| {
                let there = true_mean * self.site_part(site, sites, chance);
                let of_site = match self.uneven_units {
                    true => chance.random_range(2..=UNITS_PER_SITE),
                    false => UNITS_PER_SITE,
                };
                units += of_site;
                let site = scatter.site(there, chance);
                let total: f64 = (0..of_site).map(|_| site.draw(chance)).sum();
                total / f64::from(of_site)
            })
            .collect();
        Field {
            true_mean,
            threshold: f64::NAN,
            site_means,
            units,
            zones_named: self.edge == Edge::ByDesignNamed,
        }
    }

    /// The mean of a site in proportion to the field's: an edge has three times what the inside has. By design two
    /// of five sites are at it, and the field's mean is that of the design.
    fn site_part(&self, site: u32, sites: u32, chance: &mut ChaCha8Rng) -> f64 {
        let of_edges = match self.edge {
            Edge::None => return 1.0,
            Edge::ByChance => 0.4,
            Edge::ByDesign | Edge::ByDesignNamed => f64::from(2 * sites / 5) / f64::from(sites),
        };
        let at_edge = match self.edge {
            Edge::ByDesign | Edge::ByDesignNamed => site < 2 * sites / 5,
            Edge::None | Edge::ByChance => chance.random_bool(of_edges),
        };
        let inside = 1.0 / (1.0 + 2.0 * of_edges);
        if at_edge { 3.0 * inside } else { inside }
    }
}
