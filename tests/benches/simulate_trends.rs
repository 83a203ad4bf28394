//! Generates series of seasons whose trend is known and measures how often the verdict, the interval of the slope and the
//! slope that could be seen keep their word. Writes the text of `tests/benches/TRENDS.md` to stdout:
//!
//!     cargo run --example simulate_trends > tests/benches/TRENDS.md
//!
//! The seasons are invented: normal, each taking over a share (the memory) of the one before it.

mod simulated_seasons;

use rand::SeedableRng;
use rand_chacha::ChaCha8Rng;
use rand_distr::{Distribution, StandardNormal};
use simulated_seasons::figures_by_effort;
use stats::trend::score_needed::{SEASONS_LEAST, score_needed, slope_detectable};
use stats::trend::season_trend::{SeasonTrend, Verdict, season_trend};

const SEED: u64 = 20_260_721;
const SERIES: u32 = 20_000;
const MEMORIES: [f64; 3] = [0.0, 0.4, 0.7];
const SEASONS: std::ops::RangeInclusive<usize> = 4..=15;
/// A steady change of so many standard deviations a season.
const SLOPE: f64 = 0.6;

/// What became of the series of a setting.
#[derive(Default)]
struct Tally {
    verdicts: u32,
    /// Verdicts by the rule before this one: a probability of 0.05 or less, exact and by Hamed and Rao's correction.
    by_probability: u32,
    covered: u32,
    /// Series in which the textbook interval for independent seasons exists, and held the slope.
    textbook: [u32; 2],
}

impl Tally {
    fn of(seasons: usize, memory: f64, slope: f64, chance: &mut ChaCha8Rng) -> Tally {
        let mut tally = Tally::default();
        for _ in 0..SERIES {
            let series = series(seasons, memory, slope, chance);
            let trend = season_trend(&series).expect("several seasons");
            let called = matches!(trend.verdict, Verdict::Rises | Verdict::Falls);
            tally.verdicts += u32::from(called);
            tally.by_probability += u32::from(seasons >= 4 && probability(&trend) <= 0.05);
            if let Some(interval) = trend.interval {
                tally.covered += u32::from(interval.low <= slope && slope <= interval.high);
            }
            if let Some(interval) = trend.line.interval(0.95) {
                tally.textbook[0] += 1;
                tally.textbook[1] += u32::from(interval.low <= slope && slope <= interval.high);
            }
        }
        tally
    }
}

fn probability(trend: &SeasonTrend) -> f64 {
    let corrected = trend.corrected.map_or(0.0, |corrected| corrected.p_value);
    trend.test.best_p_value().max(corrected)
}

fn series(seasons: usize, memory: f64, slope: f64, chance: &mut ChaCha8Rng) -> Vec<(i32, f64)> {
    let mut level: f64 = StandardNormal.sample(chance);
    (0..seasons as i32)
        .map(|season| {
            if season > 0 {
                let new: f64 = StandardNormal.sample(chance);
                level = memory * level + (1.0 - memory * memory).sqrt() * new;
            }
            (2000 + season, level + slope * f64::from(season))
        })
        .collect()
}

fn percent(count: u32, of: u32) -> String {
    match of {
        0 => "–".to_owned(),
        of => format!("{:.1}", 100.0 * f64::from(count) / f64::from(of)),
    }
}

fn chance_of(stream: u64) -> ChaCha8Rng {
    let mut chance = ChaCha8Rng::seed_from_u64(SEED);
    chance.set_stream(stream);
    chance
}

/// False verdicts and the coverage of intervals, by the number of seasons.
fn errors() {
    println!("## False verdicts, and what the intervals hold\n");
    println!(
        "| seasons | S needed | false % at 0 | at 0.4 | at 0.7 | slope held % at 0 | at 0.4 | at 0.7 | before: false % at 0 \
         | at 0.4 | at 0.7 | textbook interval held % at 0 | at 0.7 |\n|---|---|---|---|---|---|---|---|---|---|---|---|---|"
    );
    for seasons in SEASONS {
        let of = |place: usize| {
            let mut chance = chance_of((10 * seasons + place) as u64);
            Tally::of(seasons, MEMORIES[place], 0.0, &mut chance)
        };
        let tallies = [of(0), of(1), of(2)];
        let needed = score_needed(seasons);
        let shares = |count: fn(&Tally) -> u32| {
            tallies
                .each_ref()
                .map(|tally| percent(count(tally), SERIES))
                .join(" | ")
        };
        let held = match needed {
            Some(_) => shares(|tally| tally.covered),
            None => "– | – | –".to_owned(),
        };
        let textbook = |place: usize| {
            let [all, held]: [u32; 2] = tallies[place].textbook;
            percent(held, all)
        };
        println!(
            "| {seasons} | {} | {} | {held} | {} | {} | {} |",
            needed.map_or("–".to_owned(), |needed| {
                format!("{needed} of {}", seasons * (seasons - 1) / 2)
            }),
            shares(|tally| tally.verdicts),
            shares(|tally| tally.by_probability),
            textbook(0),
            textbook(2),
        );
    }
}

/// How often a steady change is found, and the change that is found in four of five series.
fn power() {
    println!("\n## What is seen, and what is overlooked\n");
    println!(
        "| seasons | found % at {SLOPE} sd a year | before: found % | slope found in 80%, sd a year | found % at that slope \
         |\n|---|---|---|---|---|"
    );
    for seasons in SEASONS {
        let of = |slope: f64, place: usize| {
            let mut chance = chance_of((1000 + 10 * seasons + place) as u64);
            Tally::of(seasons, 0.0, slope, &mut chance)
        };
        let steady = of(SLOPE, 0);
        let detectable = slope_detectable(seasons);
        let found = detectable.map(|slope| percent(of(slope, 1).verdicts, SERIES));
        println!(
            "| {seasons} | {} | {} | {} | {} |",
            percent(steady.verdicts, SERIES),
            percent(steady.by_probability, SERIES),
            detectable.map_or("–".to_owned(), |slope| format!("{slope:.2}")),
            found.unwrap_or("–".to_owned()),
        );
    }
}

fn main() {
    println!("# How well the verdict on a trend keeps its word\n");
    println!(
        "Written by `cargo run --example simulate_trends`; invented seasons, true trends known.\n"
    );
    println!(
        "{SERIES} series a setting, seed {SEED}: normal seasons with a standard deviation (sd) of 1, each taking over 0, 0.4 or \
         0.7 of the one before it. 95% limits of the simulation: 0.3 percent points at a share of 5%, 0.7 at one of half. A \
         verdict takes {SEASONS_LEAST} seasons and a score S of the size needed, which 5% of series with memory 0.7 reach at \
         most; of five seasons even the highest S is reached in 7%. The interval of the slope has the slopes that this score \
         would not reject. *Before*: the rule that this one replaced, a probability of 0.05 or less, exact and with Hamed and \
         Rao's correction, from four seasons on. *Textbook*: the interval for independent seasons (Gilbert 1987), where there \
         is one.\n"
    );
    errors();
    power();
    figures_by_effort();
}
