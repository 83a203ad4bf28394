//! The range of the final count, looked back at; verdicts on trends of seasons that resemble each other.

use rand::{Rng, SeedableRng};
use rand_chacha::ChaCha8Rng;
use rand_distr::{Distribution, StandardNormal};
use stats::nowcast::reporting_delay::{FinalAge, WeekArrivals, expect_final_count};
use stats::trend::season_trend::{Verdict, season_trend};

/// Two hundred weeks of 100 to 300 records, of which each arrives by itself: three in five within the week.
/// The full back-test with piles, moods and drift is `tests/benches/backtest_nowcast.rs`.
#[test]
fn a_range_of_the_final_count_holds_it_about_as_often_as_it_says() {
    let mut chance = ChaCha8Rng::seed_from_u64(20_260_721);
    let delays = |chance: &mut ChaCha8Rng| -> Vec<u32> {
        let records = chance.random_range(100..300);
        let one = |chance: &mut ChaCha8Rng| match chance.random_range(0..10) {
            0..6 => chance.random_range(0..7),
            6..9 => chance.random_range(7..14),
            _ => chance.random_range(14..28),
        };
        (0..records).map(|_| one(chance)).collect()
    };
    let weeks: Vec<Vec<u32>> = (0..230).map(|_| delays(&mut chance)).collect();
    let seen = |week: &[u32], age_days: u32| WeekArrivals {
        age_days,
        arrived: week
            .iter()
            .filter(|day| **day <= age_days)
            .map(|day| (*day, 1))
            .collect(),
    };
    let mut held = 0;
    for current in 30..230 {
        let earlier: Vec<WeekArrivals> = (1..=20)
            .map(|back| seen(&weeks[current - back], 8 + 7 * back as u32))
            .collect();
        let said = expect_final_count(
            &earlier,
            &seen(&weeks[current], 8),
            FinalAge { days: 28 },
            0.8,
            current as u64,
        );
        let said = said.expect("twenty weeks, most of them complete");
        assert!(said.low <= said.expected as u64 && said.expected as u64 <= said.high);
        held += usize::from((said.low..=said.high).contains(&(weeks[current].len() as u64)));
    }
    assert!((140..=180).contains(&held), "{held} of 200 held");
}

/// Of 4,000 series without a trend, in which each season takes over 0.7 of the one before it, at most 7 in 100 are called
/// one, but for three standard errors of the simulation. The full table is `tests/benches/TRENDS.md`.
#[test]
fn seasons_that_resemble_each_other_are_seldom_called_a_trend() {
    const SERIES: u32 = 4_000;
    for seasons in [4, 5, 7, 8, 10] {
        let mut chance = ChaCha8Rng::seed_from_u64(20_260_721);
        let mut called = 0;
        for _ in 0..SERIES {
            let mut level: f64 = StandardNormal.sample(&mut chance);
            let mut series = Vec::new();
            for season in 0..seasons {
                series.push((2000 + season, level));
                let new: f64 = StandardNormal.sample(&mut chance);
                level = 0.7 * level + (1.0 - 0.49_f64).sqrt() * new;
            }
            let trend = season_trend(&series).expect("several seasons");
            called += u32::from(matches!(trend.verdict, Verdict::Rises | Verdict::Falls));
        }
        let most = if seasons < 5 {
            0
        } else {
            (0.082 * f64::from(SERIES)) as u32
        };
        assert!(called <= most, "{seasons} seasons: {called} of {SERIES}");
    }
}
