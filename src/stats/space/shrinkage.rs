//! Empirical-Bayes shares: the share of a small area, drawn toward the mean by as much as its sample is
//! small.
//!
//! What is published is [`shrink_within_limits`]. The moments of an area and its few neighbors were no better a guide:
//! in two of five cases they saw no difference at all and gave their mean (`tests/benches/COUNTIES.md`).
//!
//! Pure, and knows no county: areas are positions in a list. It decides nothing about what may be
//! published. A local estimate is made of the counts of the neighbors as well, so an area whose
//! counts may not be shown is to be given as not visited.

use crate::sampling::share_interval::score_interval;

/// Counts of one area: `at_threshold` of `visited` fields.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct AreaCount {
    /// Fields at or above their threshold; where an interval is known, its middle.
    pub at_threshold: f64,
    /// Fields visited; 0 for an area without a figure.
    pub visited: u64,
}

/// How the counts of an area vary about its true share.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Form {
    /// Martuzzi & Elliott 1996, Stat. Med. 15:1867-1873: for shares that are not rare, as the share of
    /// fields at threshold.
    Binomial,
    /// Marshall 1991, Applied Statistics 40:283-294: for rare events.
    Poisson,
}

/// The moments of a set of areas, from which the estimates follow.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Moments {
    /// Share of all fields together: Σ at threshold ÷ Σ visited.
    pub mean: f64,
    /// Variance of the areas' shares about it, weighted by the fields visited.
    pub variance: f64,
    /// Variance of the true shares between areas: what is left of `variance` once that of sampling is
    /// taken off; 0 where nothing is left.
    pub variance_between: f64,
    /// Variance of sampling of a single field.
    variance_of_field: f64,
}

impl Moments {
    /// The moments of the visited ones among these areas, summed in the order given; `None` if no
    /// field was visited.
    ///
    /// # Panics
    /// If an area has more fields at threshold than visited: the roll-up promises otherwise.
    pub fn of(areas: impl Iterator<Item = AreaCount> + Clone, form: Form) -> Option<Moments> {
        let areas = areas.filter(|area| area.visited > 0);
        let (mut number, mut at_threshold, mut visited) = (0_u64, 0.0, 0_u64);
        for area in areas.clone() {
            assert!(
                area.at_threshold <= area.visited as f64,
                "our own promise: at most all visited fields are at threshold; please tell us"
            );
            number += 1;
            at_threshold += area.at_threshold;
            visited += area.visited;
        }
        if visited == 0 {
            return None;
        }
        let mean = at_threshold / visited as f64;
        let squares: f64 = areas
            .map(|area| area.visited as f64 * (share(area) - mean).powi(2))
            .sum();
        let variance = squares / visited as f64;
        let visited_mean = visited as f64 / number as f64;
        let (variance_if_alike, variance_of_field) = match form {
            Form::Binomial => (mean * (1.0 - mean), mean * (1.0 - mean) - variance),
            Form::Poisson => (mean, mean),
        };
        Some(Moments {
            mean,
            variance,
            variance_between: (variance - variance_if_alike / visited_mean).max(0.0),
            // Of rounding alone is it ever below 0: where every share is 0 or 1.
            variance_of_field: variance_of_field.max(0.0),
        })
    }

    /// How far an area's own share can be trusted, 0 to 1.
    fn weight(&self, area: AreaCount) -> f64 {
        if self.variance_between == 0.0 {
            return 0.0;
        }
        let variance_of_share = self.variance_of_field / area.visited as f64;
        self.variance_between / (self.variance_between + variance_of_share)
    }

    /// The estimate of an area: its own share and the mean, weighted by how far each can be trusted.
    fn shrink(&self, area: AreaCount) -> f64 {
        self.mean + self.weight(area) * (share(area) - self.mean)
    }

    /// The same, no further from the area's own share than one standard deviation of its sampling.
    fn shrink_within_limits(&self, area: AreaCount) -> Shrunken {
        let [low, high] = score_interval(area.at_threshold, area.visited as f64, 1.0);
        let free = self.shrink(area);
        let share_of_area = share(area);
        if (low..=high).contains(&free) {
            return Shrunken {
                share: free,
                own_weight: self.weight(area),
            };
        }
        let limited = free.clamp(low, high);
        Shrunken {
            share: limited,
            own_weight: (limited - self.mean) / (share_of_area - self.mean),
        }
    }
}

/// An estimate, and how much of it is the area's own.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Shrunken {
    /// The estimated share.
    pub share: f64,
    /// Weight of the area's own share, 0 to 1; the rest is that of the mean of all areas.
    pub own_weight: f64,
}

fn share(area: AreaCount) -> f64 {
    area.at_threshold / area.visited as f64
}

/// Estimates toward the mean of all areas, in the order of the areas; `None` for one that was not
/// visited, which has no share that could be drawn anywhere.
pub fn shrink_to_all(areas: &[AreaCount], form: Form) -> Vec<Option<f64>> {
    let moments = Moments::of(areas.iter().copied(), form);
    areas
        .iter()
        .map(|area| match moments {
            Some(moments) if area.visited > 0 => Some(moments.shrink(*area)),
            _ => None,
        })
        .collect()
}

/// Estimates toward the mean of all areas, none further from the area's own share than one standard deviation of its
/// sampling (the score interval at one standard deviation): a limited translation (Efron, B. & Morris, C. 1972, J. Am.
/// Stat. Assoc. 67:130-139), so that a single high area among low ones is not taken for chance. In the order of the
/// areas; `None` for one that was not visited, and where no other one was: there is no mean to be drawn to.
pub fn shrink_within_limits(areas: &[AreaCount]) -> Vec<Option<Shrunken>> {
    let visited = areas.iter().filter(|area| area.visited > 0).count();
    let moments = Moments::of(areas.iter().copied(), Form::Binomial).filter(|_| visited > 1);
    areas
        .iter()
        .map(|area| match moments {
            Some(moments) if area.visited > 0 => Some(moments.shrink_within_limits(*area)),
            _ => None,
        })
        .collect()
}

/// Estimates toward the mean of each area and its neighbors, moments taken over the same; in the order of
/// the areas. `None` for an area that was not visited, and for one without a visited neighbor: alone
/// it has nothing to be drawn to, and its raw share is left as it is.
///
/// `neighbours` holds for each area the positions of its neighbors, each once, without its own.
///
/// # Panics
/// If there are not as many lists as areas, or a list names an area that is not there.
pub fn shrink_to_neighbours(
    areas: &[AreaCount],
    neighbours: &[Vec<usize>],
    form: Form,
) -> Vec<Option<f64>> {
    assert_eq!(
        areas.len(),
        neighbours.len(),
        "our own promise: one list of neighbours an area; please tell us"
    );
    let estimate = |(position, area): (usize, &AreaCount)| {
        let around = &neighbours[position];
        if area.visited == 0 || around.iter().all(|&near| areas[near].visited == 0) {
            return None;
        }
        // In the order of the areas, so that the last digit does not hang on how a list was made.
        let mut together: Vec<usize> = around.iter().copied().chain([position]).collect();
        together.sort_unstable();
        let moments = Moments::of(together.iter().map(|&near| areas[near]), form)?;
        Some(moments.shrink(*area))
    };
    areas.iter().enumerate().map(estimate).collect()
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    fn counts(at_threshold: &[u64], visited: &[u64]) -> Vec<AreaCount> {
        let pairs = at_threshold.iter().zip(visited);
        pairs
            .map(|(&at_threshold, &visited)| AreaCount {
                at_threshold: at_threshold as f64,
                visited,
            })
            .collect()
    }

    fn assert_near(found: f64, expected: f64, tolerance: f64) {
        let near = (found - expected).abs() <= tolerance;
        assert!(near, "{found}, expected {expected}");
    }

    fn assert_all_near(found: &[Option<f64>], expected: &[f64], tolerance: f64) {
        assert_eq!(found.len(), expected.len());
        for (found, expected) in found.iter().zip(expected) {
            assert_near(found.expect("an estimate"), *expected, tolerance);
        }
    }

    /// Marshall's formula on two small sets, recomputed from the printed formula.
    #[test]
    fn the_poisson_form_gives_the_recomputed_values() {
        let areas = counts(&[2, 30, 5, 60], &[100, 400, 50, 300]);
        let moments = Moments::of(areas.iter().copied(), Form::Poisson).expect("moments");
        assert_near(moments.mean, 0.114_117_6, 5e-8);
        assert_near(moments.variance, 0.004_377_16, 5e-9);
        assert_near(moments.variance_between, 0.003_840_14, 5e-9);
        let expected = [0.041_561_5, 0.077_705_2, 0.105_262_8, 0.192_259_5];
        assert_all_near(&shrink_to_all(&areas, Form::Poisson), &expected, 5e-8);

        let areas = counts(&[0, 12, 50, 3], &[40, 100, 200, 60]);
        let moments = Moments::of(areas.iter().copied(), Form::Poisson).expect("moments");
        assert_near(moments.mean, 0.162_5, 1e-12);
        assert_near(moments.variance_between, 0.007_193_75, 1e-12);
        let expected = [0.058_648_0, 0.127_831_3, 0.241_120_2, 0.080_770_0];
        assert_all_near(&shrink_to_all(&areas, Form::Poisson), &expected, 5e-8);
    }

    /// Recomputed: the moment estimate is -0.000666, so no difference between the areas shows.
    #[test]
    fn areas_that_differ_less_than_chance_would_make_them_get_the_mean() {
        let areas = counts(&[0, 2, 5, 10], &[10, 20, 25, 100]);
        let estimates = shrink_to_all(&areas, Form::Poisson);
        assert_all_near(&estimates, &[0.109_677_4; 4], 5e-8);
        let moments = Moments::of(areas.iter().copied(), Form::Poisson).expect("moments");
        assert_eq!(moments.variance_between, 0.0);
        assert_near(
            moments.variance - moments.mean / (155.0 / 4.0),
            -0.000_666,
            5e-7,
        );
    }

    /// Infant deaths and children (nine years of them) of the first areas of Auckland, with the printed
    /// rate and estimate per 1000; the whole numbers are those that alone give the printed digits.
    const AUCKLAND: [(u64, u64, f64, f64); 5] = [
        (8, 2268, 3.5273, 2.9780),
        (2, 405, 4.9383, 2.8656),
        (5, 3240, 1.5432, 2.1182),
        (8, 3294, 2.4287, 2.5358),
        (1, 486, 2.0576, 2.5652),
    ];

    /// Marshall 1991 on 167 areas, as the documentation of R's spdep prints it: γ = 0.002633436,
    /// φ = 7.284173e-07.
    #[test]
    fn the_poisson_form_gives_the_published_estimates_of_auckland() {
        let moments = Moments {
            mean: 0.002_633_436,
            variance: f64::NAN,
            variance_between: 7.284_173e-7,
            variance_of_field: 0.002_633_436,
        };
        for (at_threshold, visited, rate, estimate) in AUCKLAND {
            let area = AreaCount {
                at_threshold: at_threshold as f64,
                visited,
            };
            assert_near(share(area) * 1000.0, rate, 5.1e-5);
            assert_near(moments.shrink(area) * 1000.0, estimate, 5.1e-5);
        }
    }

    /// Cases, persons and printed estimate in per cent of the 71 areas of Huddersfield (Martuzzi & Elliott
    /// 1996, as the documentation of R's spdep prints raw and estimated shares). The counts are the
    /// only whole numbers that give both printed columns and the printed mean.
    const HUDDERSFIELD: [(u64, u64, f64); 71] = [
        (21, 49, 34.44),
        (22, 76, 29.56),
        (47, 166, 28.94),
        (3, 14, 28.93),
        (8, 24, 30.72),
        (25, 81, 30.43),
        (31, 92, 31.85),
        (26, 57, 35.93),
        (12, 45, 28.95),
        (5, 17, 29.95),
        (73, 263, 28.36),
        (27, 80, 31.75),
        (66, 202, 31.84),
        (41, 179, 25.36),
        (39, 114, 32.33),
        (26, 77, 31.72),
        (16, 55, 29.69),
        (10, 63, 24.36),
        (9, 22, 32.11),
        (4, 10, 31.01),
        (19, 66, 29.53),
        (7, 18, 31.47),
        (32, 113, 29.10),
        (23, 69, 31.44),
        (12, 86, 22.36),
        (26, 77, 31.72),
        (6, 19, 30.31),
        (4, 12, 30.42),
        (28, 105, 28.26),
        (7, 11, 33.57),
        (33, 96, 32.24),
        (6, 30, 27.62),
        (18, 94, 24.60),
        (12, 47, 28.54),
        (14, 58, 27.79),
        (11, 25, 32.98),
        (19, 75, 27.95),
        (6, 33, 26.96),
        (34, 107, 30.97),
        (19, 59, 30.88),
        (22, 84, 28.23),
        (8, 42, 26.65),
        (5, 30, 26.81),
        (3, 15, 28.66),
        (32, 97, 31.54),
        (5, 10, 31.97),
        (16, 43, 32.30),
        (20, 61, 31.13),
        (7, 18, 31.47),
        (29, 116, 27.26),
        (19, 73, 28.29),
        (14, 46, 30.18),
        (16, 81, 25.28),
        (4, 8, 31.61),
        (8, 37, 27.67),
        (8, 36, 27.88),
        (4, 11, 30.71),
        (5, 16, 30.22),
        (0, 1, 29.73),
        (5, 17, 29.95),
        (43, 138, 30.71),
        (6, 18, 30.58),
        (42, 124, 32.22),
        (3, 10, 30.04),
        (27, 89, 30.19),
        (33, 81, 35.00),
        (52, 112, 38.96),
        (26, 76, 31.91),
        (49, 202, 26.10),
        (25, 85, 29.75),
        (50, 106, 39.13),
    ];

    #[test]
    fn the_binomial_form_gives_the_published_estimates_of_huddersfield() {
        let areas: Vec<AreaCount> = HUDDERSFIELD
            .iter()
            .map(|&(at_threshold, visited, _)| AreaCount {
                at_threshold: at_threshold as f64,
                visited,
            })
            .collect();
        let moments = Moments::of(areas.iter().copied(), Form::Binomial).expect("moments");
        assert_near(moments.mean, 0.300_482_3, 5e-8);
        assert_near(moments.variance, 0.005_310_75, 5e-9);
        let expected = HUDDERSFIELD.map(|(_, _, per_cent)| per_cent / 100.0);
        assert_all_near(&shrink_to_all(&areas, Form::Binomial), &expected, 5.1e-5);
    }

    #[test]
    fn an_area_alone_keeps_its_raw_share_and_one_not_visited_has_none() {
        let areas = counts(&[1, 2, 0, 3], &[4, 5, 0, 3]);
        // 0 and 1 are neighbours; 2 was not visited; 3 has only 2 next to it.
        let neighbours = vec![vec![1], vec![0], vec![3], vec![2]];
        let estimates = shrink_to_neighbours(&areas, &neighbours, Form::Binomial);
        let there: Vec<bool> = estimates.iter().map(Option::is_some).collect();
        assert_eq!(there, [true, true, false, false]);
        let of_all = shrink_to_all(&areas, Form::Binomial);
        assert!(of_all[2].is_none() && of_all[3].is_some());
        assert!(Moments::of([AreaCount::default()].into_iter(), Form::Binomial).is_none());
        assert!(shrink_to_all(&[], Form::Binomial).is_empty());
    }

    #[test]
    fn a_hot_area_keeps_most_of_its_share() {
        // 7 of 8 among areas with 1 or 2 of 10: by the moments alone it would fall to the middle.
        let areas = counts(&[7, 1, 2, 1, 2, 1], &[8, 10, 10, 10, 10, 10]);
        let hot = shrink_within_limits(&areas)[0].expect("an estimate");
        let free = shrink_to_all(&areas, Form::Binomial)[0].expect("an estimate");
        // (0.875 + 1/16 − √(0.109375/8 + 1/256))/(1 + 1/8), by hand.
        let limit = (0.9375 - (0.109_375_f64 / 8.0 + 1.0 / 256.0).sqrt()) / 1.125;
        assert_near(hot.share, limit.max(free), 1e-12);
        let mean = 14.0 / 58.0;
        assert_near(mean + hot.own_weight * (0.875 - mean), hot.share, 1e-12);
        // Areas alike by chance: all weight to the mean, as far as the limits let it.
        let alike = counts(&[3, 3, 4], &[10, 10, 10]);
        let estimates = shrink_within_limits(&alike);
        let first = estimates[0].expect("an estimate");
        assert_eq!(first.own_weight, 0.0);
        assert_near(first.share, 1.0 / 3.0, 1e-12);
        assert_eq!(
            shrink_within_limits(&counts(&[3, 0], &[10, 0])),
            [None, None]
        );
    }

    #[test]
    fn fields_that_are_all_at_threshold_or_none_give_that_share() {
        for (at_threshold, share) in [([4, 5, 9], 1.0), ([0, 0, 0], 0.0)] {
            let areas = counts(&at_threshold, &[4, 5, 9]);
            for form in [Form::Binomial, Form::Poisson] {
                assert_all_near(&shrink_to_all(&areas, form), &[share; 3], 0.0);
            }
        }
        // All of one area and none of the other: the areas differ as much as they can.
        let areas = counts(&[6, 0], &[6, 6]);
        assert_all_near(&shrink_to_all(&areas, Form::Binomial), &[1.0, 0.0], 1e-12);
    }

    proptest! {
        #[test]
        fn an_estimate_lies_between_the_share_and_the_mean(
            pairs in prop::collection::vec((0_u64..50, 0_u64..50), 1..30),
            binomial in any::<bool>(),
        ) {
            let areas: Vec<AreaCount> = pairs
                .iter()
                .map(|&(one, other)| AreaCount { at_threshold: one.min(other) as f64, visited: other })
                .collect();
            let form = if binomial { Form::Binomial } else { Form::Poisson };
            let of_all = shrink_to_all(&areas, form);
            if let Some(moments) = Moments::of(areas.iter().copied(), form) {
                for (area, estimate) in areas.iter().zip(&of_all).filter(|(area, _)| area.visited > 0) {
                    let (share, mean) = (share(*area), moments.mean);
                    let estimate = estimate.expect("an estimate");
                    prop_assert!(estimate >= share.min(mean) - 1e-12);
                    prop_assert!(estimate <= share.max(mean) + 1e-12);
                }
            }
            // Where everybody is everybody's neighbour, near and all are the same.
            let everybody: Vec<Vec<usize>> = (0..areas.len())
                .map(|area| (0..areas.len()).rev().filter(|near| *near != area).collect())
                .collect();
            let near = shrink_to_neighbours(&areas, &everybody, form);
            let visited = areas.iter().filter(|area| area.visited > 0).count();
            if visited > 1 {
                prop_assert_eq!(near, of_all);
            }
        }
    }
}
