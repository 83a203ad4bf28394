//! Maps of invented counties: what smoothing makes of their shares, and Moran's I of few of them.

use rand::{Rng, SeedableRng};
use rand_chacha::ChaCha8Rng;
use rand_distr::{Binomial, Distribution, StandardNormal};
use stats::space::moran::{Weights, morans_i, permutation_test};
use stats::space::shrinkage::{
    AreaCount, Form, shrink_to_all, shrink_to_neighbours, shrink_within_limits,
};

const SEED: u64 = 20_260_721;
const MAPS: u32 = 2_000;
/// Counties in a row, and rows.
const WIDTH: usize = 6;
/// The true share of the one county that is far above the others.
const HOT: f64 = 0.9;

/// Neighbors on the square map: all that share a border or a corner.
fn neighbors() -> Vec<Vec<usize>> {
    let counties = WIDTH * WIDTH;
    let near = |one: usize, other: usize| {
        let apart = |of: fn(usize) -> usize| of(one).abs_diff(of(other)) <= 1;
        one != other && apart(|county| county / WIDTH) && apart(|county| county % WIDTH)
    };
    (0..counties)
        .map(|one| (0..counties).filter(|other| near(one, *other)).collect())
        .collect()
}

/// True shares with a pattern of neighbors, one of them hot; and its place.
fn shares(near: &[Vec<usize>], chance: &mut ChaCha8Rng) -> (Vec<f64>, usize) {
    // The second half is each county's own.
    let draws: Vec<f64> = (0..2 * near.len())
        .map(|_| StandardNormal.sample(chance))
        .collect();
    let spread = [0.3, 0.8, 1.3][chance.random_range(0..3)];
    let mut shares: Vec<f64> = near
        .iter()
        .enumerate()
        .map(|(place, near)| {
            let around: f64 = near.iter().map(|other| draws[*other]).sum();
            let pattern = (draws[place] + around) / (1.0 + near.len() as f64).sqrt();
            let own = draws[WIDTH * WIDTH + place];
            let level = -1.2 + 0.7 * spread * (pattern + own);
            1.0 / (1.0 + (-level).exp())
        })
        .collect();
    let hot = chance.random_range(0..near.len());
    shares[hot] = HOT;
    (shares, hot)
}

/// Squared errors of ordinary counties, and what was said of the hot one.
#[derive(Default)]
struct Errors {
    squares: Vec<f64>,
    hot: Vec<f64>,
}

impl Errors {
    fn row(&mut self, name: &str) -> String {
        let mean = self.squares.iter().sum::<f64>() / self.squares.len() as f64;
        let variance = self
            .squares
            .iter()
            .map(|square| (square - mean).powi(2))
            .sum::<f64>()
            / self.squares.len() as f64;
        let error = mean.sqrt();
        let limit = 1.96 * (variance / self.squares.len() as f64).sqrt() / (2.0 * error);
        let hot = self.hot.iter().sum::<f64>() / self.hot.len() as f64;
        self.hot.sort_by(f64::total_cmp);
        let low = self.hot[self.hot.len() / 20];
        format!("| {name} | {error:.4} ± {limit:.4} | {hot:.2} | {low:.2} |")
    }
}

/// Root mean square errors of the estimates of shares, and what they leave of a hot county.
pub fn smoothed_shares() {
    let near = neighbors();
    let mut chance = ChaCha8Rng::seed_from_u64(SEED);
    let mut errors: [Errors; 4] = Default::default();
    let (mut wholly_mean, mut all) = ([0_u32; 2], 0);
    for _ in 0..MAPS {
        let (shares, hot) = shares(&near, &mut chance);
        let counts: Vec<AreaCount> = shares
            .iter()
            .enumerate()
            .map(|(place, share)| {
                let visited = chance.random_range(3..16_u64);
                let shown = chance.random_bool(0.6) || place == hot;
                let found = Binomial::new(visited, *share)
                    .expect("a share")
                    .sample(&mut chance);
                match shown {
                    true => AreaCount {
                        at_threshold: found as f64,
                        visited,
                    },
                    false => AreaCount::default(),
                }
            })
            .collect();
        let local = shrink_to_neighbours(&counts, &near, Form::Binomial);
        let global = shrink_to_all(&counts, Form::Binomial);
        let limited = shrink_within_limits(&counts);
        for place in 0..counts.len() {
            let (Some(local), Some(global), Some(limited)) =
                (local[place], global[place], limited[place])
            else {
                continue;
            };
            let raw = counts[place].at_threshold / counts[place].visited as f64;
            for (errors, estimate) in errors.iter_mut().zip([raw, local, global, limited.share]) {
                match place == hot {
                    true => errors.hot.push(estimate),
                    false => errors.squares.push((estimate - shares[place]).powi(2)),
                }
            }
            all += 1;
            wholly_mean[0] += u32::from(is_mean(&counts, &near[place], place, local));
            wholly_mean[1] += u32::from(limited.own_weight == 0.0);
        }
    }
    println!("\n## Smoothed shares\n");
    println!(
        "{MAPS} maps of {} counties with a pattern of neighbors, 3 to 15 fields each, 60% of the counties shown, and one \
         county with a true share of {HOT}. *Error*: root mean square of ordinary counties, with its 95% limits. *Local*: \
         moments of a county and its neighbors (the estimate before). *All*: moments of all counties shown. *Published*: the \
         same, no further from the raw share than one standard error.\n",
        WIDTH * WIDTH
    );
    println!("| estimate | error | hot county, mean | its lowest 5% |\n|---|---|---|---|");
    for (errors, name) in errors.iter_mut().zip(["raw", "local", "all", "published"]) {
        println!("{}", errors.row(name));
    }
    let percent = |count: u32| 100.0 * f64::from(count) / f64::from(all);
    println!(
        "\nWholly a mean, without any weight of the county's own share: {:.0}% of local estimates, {:.0}% of published ones.",
        percent(wholly_mean[0]),
        percent(wholly_mean[1])
    );
}

/// Whether an estimate is the mean of a county and its neighbors, and not its own share.
fn is_mean(counts: &[AreaCount], near: &[usize], place: usize, estimate: f64) -> bool {
    let group = || near.iter().chain([&place]).map(|other| counts[*other]);
    let found: f64 = group().map(|area| area.at_threshold).sum();
    let visited: u64 = group().map(|area| area.visited).sum();
    let raw = counts[place].at_threshold / counts[place].visited as f64;
    let mean = found / visited as f64;
    (estimate - mean).abs() < 1e-12 && (raw - mean).abs() > 1e-9
}

/// Moran's I of 3 and 4 counties: all next to each other, and in a row.
pub fn counties_that_touch() {
    println!("\n## Moran's I of few counties\n");
    println!(
        "10,000 draws of values without a pattern; share of draws with a p-value of 0.05 or less, and with one at all.\n"
    );
    println!("| counties | I, least to most | with a p-value % | p ≤ 0.05 % |\n|---|---|---|---|");
    for (name, near) in [
        ("3, all touch", all_touch(3)),
        ("4, all touch", all_touch(4)),
        ("4 in a row", row_of(4)),
        ("9 in a row", row_of(9)),
    ] {
        let mut chance = ChaCha8Rng::seed_from_u64(SEED);
        let (mut given, mut small) = (0_u32, 0_u32);
        let (mut least, mut most) = (f64::INFINITY, f64::NEG_INFINITY);
        for _ in 0..10_000 {
            let values: Vec<Option<f64>> = near
                .iter()
                .map(|_| Some(StandardNormal.sample(&mut chance)))
                .collect();
            let found =
                morans_i(&values, &near, Weights::RowStandardised).expect("three counties or more");
            (least, most) = (least.min(found.statistic), most.max(found.statistic));
            if let Some(test) = permutation_test(&values, &near, Weights::RowStandardised, 99, SEED)
            {
                given += 1;
                small += u32::from(test.p_value <= 0.05);
            }
        }
        println!(
            "| {name} | {least:.2} to {most:.2} | {:.0} | {:.1} |",
            f64::from(given) / 100.0,
            f64::from(small) / 100.0
        );
    }
}

fn all_touch(counties: usize) -> Vec<Vec<usize>> {
    (0..counties)
        .map(|one| (0..counties).filter(|other| *other != one).collect())
        .collect()
}

fn row_of(counties: usize) -> Vec<Vec<usize>> {
    (0..counties)
        .map(|one| {
            (0..counties)
                .filter(|other| one.abs_diff(*other) == 1)
                .collect()
        })
        .collect()
}
