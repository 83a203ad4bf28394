//! The score S that a trend takes, and the slope that a series of seasons could show.
//!
//! Up to 15 seasons the score is the least whose size a stationary normal AR(1) series with memory 0.7 reaches in at
//! most 5 of 100 series; of five seasons even the highest is reached in 7 of 100. Beyond, it is S by the normal
//! distribution with the variance that such a series gives it. 0.7 is our choice of a worst case. Both tables are
//! measured by `cargo run --example simulate_trends`, which checks them and writes `tests/benches/TRENDS.md`.

use std::f64::consts::FRAC_2_PI;

/// Seasons below which nothing is said. With four, the steadiest rise has a two-sided probability of 1 in 12
/// without any memory (counted out).
pub const SEASONS_LEAST: usize = 5;

/// How much of a season the next one takes over in the worst case.
const MEMORY: f64 = 0.7;

/// The 0.975 quantile of the standard normal distribution.
const Z: f64 = 1.959_963_984_540_054;

/// The score by the number of seasons, from five on.
const SCORES: [i64; 11] = [10, 15, 19, 24, 30, 35, 41, 48, 54, 61, 69];

/// Change a season, in standard deviations of a season about the line, that four of five series without memory show.
const SLOPES: [f64; 11] = [
    2.30, 2.45, 1.57, 1.23, 1.05, 0.80, 0.67, 0.59, 0.49, 0.43, 0.39,
];

/// The size of S that a verdict takes; `None` for too few seasons.
pub fn score_needed(seasons: usize) -> Option<i64> {
    let place = seasons.checked_sub(SEASONS_LEAST)?;
    let beyond = || 1 + (Z * variance_with_memory(seasons).sqrt()).ceil() as i64;
    Some(SCORES.get(place).copied().unwrap_or_else(beyond))
}

/// The change a season that four of five series show, in standard deviations of a season about the line; more seasons
/// than the table has would show less. `None` for too few.
pub fn slope_detectable(seasons: usize) -> Option<f64> {
    let place = seasons.checked_sub(SEASONS_LEAST)?;
    Some(SLOPES[place.min(SLOPES.len() - 1)])
}

/// Variance of S of a normal series with this memory and no trend: each pair of differences contributes
/// `2/π·arcsin` of their correlation (the orthant probability of two normal numbers).
fn variance_with_memory(seasons: usize) -> f64 {
    let alike = |one: usize, other: usize| MEMORY.powi(one.abs_diff(other) as i32);
    let pairs: Vec<(usize, usize)> = (0..seasons)
        .flat_map(|later| (0..later).map(move |earlier| (earlier, later)))
        .collect();
    let covariance = |(from, to): (usize, usize), (other_from, other_to): (usize, usize)| {
        alike(to, other_to) - alike(to, other_from) - alike(from, other_to)
            + alike(from, other_from)
    };
    let of_pair = |one: &(usize, usize)| -> f64 {
        let own = covariance(*one, *one);
        let with = pairs.iter().map(|other| {
            let both = (own * covariance(*other, *other)).sqrt();
            (covariance(*one, *other) / both).clamp(-1.0, 1.0).asin()
        });
        with.sum()
    };
    FRAC_2_PI * pairs.iter().map(of_pair).sum::<f64>()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_score_is_one_that_a_series_of_that_length_can_have() {
        assert_eq!(score_needed(4), None);
        for seasons in 5..=15 {
            let pairs = (seasons * (seasons - 1) / 2) as i64;
            let needed = score_needed(seasons).expect("five seasons or more");
            assert!(
                needed <= pairs && (pairs - needed) % 2 == 0,
                "{seasons}: {needed}"
            );
        }
    }

    /// Variances recomputed by numpy from the same sum, and found in 200,000 random series to within 1%.
    #[test]
    fn memory_widens_the_scatter_of_s() {
        for (seasons, variance) in [(5, 29.5), (10, 342.5), (15, 1369.1)] {
            let found = variance_with_memory(seasons);
            assert!((found - variance).abs() < 0.06, "{seasons}: {found}");
        }
        // The normal distribution asks for a little more than the series themselves do.
        let beyond = score_needed(16).expect("sixteen seasons");
        assert!((75..=85).contains(&beyond), "{beyond}");
    }

    #[test]
    fn more_seasons_show_smaller_changes() {
        assert_eq!(slope_detectable(4), None);
        let slopes: Vec<f64> = (6..=20).filter_map(slope_detectable).collect();
        assert!(slopes.is_sorted_by(|one, next| one >= next), "{slopes:?}");
    }
}
