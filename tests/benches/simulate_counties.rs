//! Generates counties whose true share of fields at threshold is known, and measures what a rule of a third, the chance
//! of being over a third, Wilson's interval, smoothed shares and Moran's I make of their fields. Writes the text of
//! `tests/benches/COUNTIES.md` to stdout:
//!
//!     cargo run --example simulate_counties > tests/benches/COUNTIES.md
//!
//! The counties are invented.

mod simulated_map;

use rand::SeedableRng;
use rand_chacha::ChaCha8Rng;
use rand_distr::{Beta, Binomial, Distribution};
use simulated_map::{counties_that_touch, smoothed_shares};
use stats::sampling::share_interval::wilson;
use stats::sampling::share_over_line::{chance_of_third, fields_of_third, probability_over_third};

const SEED: u64 = 20_260_721;
const COUNTIES: u32 = 40_000;
const THIRD: f64 = 1.0 / 3.0;
const SHARES: [f64; 6] = [0.05, 0.10, 0.20, THIRD, 0.50, 0.60];
const FIELDS: [u32; 6] = [3, 5, 6, 9, 12, 20];
/// Bounds of the bins of a stated chance.
const BINS: [f64; 6] = [0.0, 0.1, 0.3, 0.5, 0.7, 0.9];

/// How fields are sampled.
#[derive(Clone, Copy)]
enum Sampled {
    AtRandom,
    /// By farms of three fields that are all alike.
    ByFarm,
}

/// How the true shares of counties are spread.
const SPREADS: [(&str, f64, f64); 3] = [
    ("as Jeffreys' prior", 0.5, 0.5),
    ("a fifth in the mean", 0.6, 2.4),
    ("a third in the mean", 1.0, 2.0),
];

fn rule() {
    println!("## How often a rule of a third fires\n");
    println!(
        "Exact binomial probability that at least a third of the fields sampled are at threshold.\n"
    );
    println!(
        "| fields (needed) | .05 | .10 | .20 | .333 | .50 | .60 |\n|---|---|---|---|---|---|---|"
    );
    for fields in FIELDS {
        let chances = SHARES.map(|share| {
            let chance = chance_of_third(fields, share).expect("a sample");
            format!("{chance:.3}")
        });
        let needed = fields_of_third(fields);
        println!("| {fields} ({needed}) | {} |", chances.join(" | "));
    }
}

/// A county's true share, and the fields at threshold of its sample.
fn draw(a: f64, b: f64, fields: u32, sampled: Sampled, chance: &mut ChaCha8Rng) -> (f64, u32) {
    let share = Beta::new(a, b).expect("a spread").sample(chance);
    let (groups, size) = match sampled {
        Sampled::AtRandom => (fields, 1),
        Sampled::ByFarm => (fields / 3, 3),
    };
    let found = Binomial::new(u64::from(groups), share).expect("a share");
    (share, size * found.sample(chance) as u32)
}

fn calibration() {
    println!("\n## What became of a stated chance\n");
    println!(
        "{COUNTIES} counties a row with 3, 6, 9 or 12 fields. In each cell: how many of 100 counties with a stated chance in \
         that range had more than a third of all their fields at threshold (1 percent point of simulation error or less where \
         a bin has 10,000 counties, 3 where it has 1,000). *Wilson*: how often the 95% interval held the true share.\n"
    );
    println!(
        "| true shares | sampled | under 10% | 10–30% | 30–50% | 50–70% | 70–90% | 90% and over | Wilson held % \
         |\n|---|---|---|---|---|---|---|---|---|"
    );
    let ways = [
        ("at random", Sampled::AtRandom),
        ("by farms of 3 fields alike", Sampled::ByFarm),
    ];
    for (place, (name, a, b)) in SPREADS.iter().enumerate() {
        for (way, (words, sampled)) in ways.iter().enumerate() {
            let mut chance = ChaCha8Rng::seed_from_u64(SEED);
            chance.set_stream((10 * place + way) as u64);
            let mut bins = [[0_u32; 2]; BINS.len()];
            let mut held = 0;
            for county in 0..COUNTIES {
                let fields = [3, 6, 9, 12][county as usize % 4];
                let (share, found) = draw(*a, *b, fields, *sampled, &mut chance);
                let stated = probability_over_third(found, fields).expect("a sample");
                let bin = BINS
                    .iter()
                    .rposition(|from| stated >= *from)
                    .unwrap_or_default();
                bins[bin][0] += 1;
                bins[bin][1] += u32::from(share > THIRD);
                let [low, high] = wilson(found, fields).expect("a sample");
                held += u32::from((low..=high).contains(&share));
            }
            let cells = bins.map(|[all, over]| match all {
                0 => "–".to_owned(),
                all => format!("{:.0} ({all})", 100.0 * f64::from(over) / f64::from(all)),
            });
            let held = 100.0 * f64::from(held) / f64::from(COUNTIES);
            println!("| {name} | {words} | {} | {held:.1} |", cells.join(" | "));
        }
    }
}

fn main() {
    println!("# What the fields of a county say of it\n");
    println!(
        "Written by `cargo run --example simulate_counties`; invented counties, seed {SEED}, true shares known.\n"
    );
    rule();
    calibration();
    smoothed_shares();
    counties_that_touch();
}
