//! How often k of units, with the standard error that its likelihood gives, holds the k that the units were drawn with.

use rand::SeedableRng;
use rand_chacha::ChaCha8Rng;
use stats::counts::aggregation::fit_common_k;
use stats::counts::frequencies::CountFrequencies;

use super::SEED;
use super::invented_fields::{Scatter, UNITS_PER_SITE};

/// Counties and seasons, each with so many visits of four sites.
const SEASONS: u32 = 400;
const SITES: u32 = 4;
const VISITS: [u32; 3] = [10, 30, 100];
const MEAN: f64 = 3.0;
const K: f64 = 0.7;

/// Sites that are all alike, and sites whose means differ by a coefficient of variation.
const BETWEEN_SITES: [(&str, f64); 3] = [
    ("all alike", 1e6),
    ("differ by 35%", 8.0),
    ("differ by 100%", 1.0),
];

fn visit(scatter: &Scatter, chance: &mut ChaCha8Rng) -> CountFrequencies {
    let mut counts = CountFrequencies::of_counts(&[]);
    for _ in 0..SITES {
        let site = scatter.site(MEAN, chance);
        for _ in 0..UNITS_PER_SITE {
            counts.add(site.draw(chance) as u64, 1);
        }
    }
    counts
}

/// Why k of units is given without a standard error.
pub fn k_of_units() {
    println!(
        "\n## k of units\n\n{SEASONS} counties of some visits each, {SITES} sites of {UNITS_PER_SITE} units, a mean of {MEAN}, k {K} \
         within a site; k by maximum likelihood, common to the visits, ± 1.96 standard errors of the likelihood. It takes \
         units for independent, and `county_season_dispersion` therefore gives k without it.\n"
    );
    println!(
        "| sites | visits | median k | k ± 1.96 standard errors holds {K}, % |\n|---|--:|--:|--:|"
    );
    for (stream, (name, between_sites)) in (300..).zip(BETWEEN_SITES) {
        let scatter = Scatter {
            name,
            between_sites,
            within_sites: K,
        };
        for visits in VISITS {
            let mut chance = ChaCha8Rng::seed_from_u64(SEED);
            chance.set_stream(10 * stream + u64::from(visits));
            let mut found = Vec::new();
            let mut held = 0;
            for _ in 0..SEASONS {
                let samples: Vec<_> = (0..visits).map(|_| visit(&scatter, &mut chance)).collect();
                let fitted = fit_common_k(&samples).expect("clumped counts");
                let error = fitted.standard_error.expect("a likelihood that is curved");
                held += u32::from((fitted.k - K).abs() <= 1.96 * error);
                found.push(fitted.k);
            }
            found.sort_by(f64::total_cmp);
            println!(
                "| {name} | {visits} | {:.2} | {:.0} |",
                found[found.len() / 2],
                100.0 * f64::from(held) / f64::from(SEASONS)
            );
        }
    }
}
