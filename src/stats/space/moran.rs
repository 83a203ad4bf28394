//! Moran's I: whether areas that are next to each other are more alike than areas are in general.
//!
//! Moran 1950, Biometrika 37:17-23; moments after Cliff & Ord 1981, Spatial Processes (both citations
//! from memory). Pure, and knows no county: areas are positions in a list.
//!
//! Which areas count is one policy for all functions here. An area without a finite value is left out,
//! and with it its links. Of the rest, one without a link is left out as well: it has no neighbor, and
//! would only move the mean. What remains is `areas` of the result.

use rand::SeedableRng;
use rand::seq::SliceRandom;
use rand_chacha::ChaCha8Rng;

/// Fewer areas than this have no pattern.
const AREAS_MIN: usize = 3;
/// The variance under randomisation divides by (areas - 1)(areas - 2)(areas - 3).
const AREAS_OF_RANDOMISATION_MIN: usize = 4;
/// Two statistics that are closer than this are one: sums of the same terms in another order.
const ROUNDING: f64 = 1e-12;

/// What a link weighs.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Weights {
    /// 1 ÷ the number of the area's neighbors: every area weighs the same.
    RowStandardised,
    /// 1: areas with many neighbors weigh more.
    Binary,
}

/// Moran's I with what it would be without any pattern.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Moran {
    /// Areas that counted.
    pub areas: usize,
    /// The statistic I.
    pub statistic: f64,
    /// Its expectation without a pattern: -1 ÷ (areas - 1).
    pub expectation: f64,
    /// Its variance if the values came from one normal distribution.
    pub variance_normal: f64,
    /// Its variance over the permutations of the values; `None` with three areas.
    pub variance_randomised: Option<f64>,
}

impl Moran {
    /// Standard deviations, under randomisation, by which I exceeds its expectation.
    pub fn z(&self) -> Option<f64> {
        let variance = self
            .variance_randomised
            .filter(|variance| *variance > 0.0)?;
        Some((self.statistic - self.expectation) / variance.sqrt())
    }
}

/// How often chance does as well.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct PermutationTest {
    /// Random orders of the values that were tried.
    pub permutations: u32,
    /// Those whose I was at least that of the values as they lie.
    pub at_least: u32,
    /// (`at_least` + 1) ÷ (`permutations` + 1): one-sided, small where neighbors are alike.
    pub p_value: f64,
}

/// Moran's I of the values of areas; `neighbours` holds for each area the positions of its neighbors, each
/// once, without its own. `None` with fewer than three areas that count, or if all values are equal.
///
/// # Panics
/// If there are not as many lists as values, or a list names an area that is not there.
pub fn morans_i(
    values: &[Option<f64>],
    neighbours: &[Vec<usize>],
    weights: Weights,
) -> Option<Moran> {
    let pattern = Pattern::of(values, neighbours, weights)?;
    let areas = pattern.deviations.len() as f64;
    let expectation = -1.0 / (areas - 1.0);
    Some(Moran {
        areas: pattern.deviations.len(),
        statistic: pattern.statistic(&pattern.deviations),
        expectation,
        variance_normal: pattern.variance_normal(expectation),
        variance_randomised: pattern.variance_randomised(expectation),
    })
}

/// Whether I is larger than that of values dealt out at random: the test by permutations, from a
/// fixed seed, so that the same values give the same answer on every machine. `None` where I is, and where all areas that
/// count are neighbors of each other: then every order of the values has the same I.
///
/// # Panics
/// As [`morans_i`].
pub fn permutation_test(
    values: &[Option<f64>],
    neighbours: &[Vec<usize>],
    weights: Weights,
    permutations: u32,
    seed: u64,
) -> Option<PermutationTest> {
    let pattern =
        Pattern::of(values, neighbours, weights).filter(|pattern| !pattern.all_touch())?;
    let found = pattern.statistic(&pattern.deviations);
    let mut chance = ChaCha8Rng::seed_from_u64(seed);
    let mut dealt = pattern.deviations.clone();
    let mut at_least = 0;
    for _ in 0..permutations {
        dealt.shuffle(&mut chance);
        if pattern.statistic(&dealt) >= found - ROUNDING {
            at_least += 1;
        }
    }
    Some(PermutationTest {
        permutations,
        at_least,
        p_value: f64::from(at_least + 1) / (f64::from(permutations) + 1.0),
    })
}

/// The areas that count, by new positions.
struct Pattern {
    /// Value less the mean.
    deviations: Vec<f64>,
    /// Neighbors, sorted.
    neighbours: Vec<Vec<usize>>,
    /// What each link of an area weighs.
    link_weights: Vec<f64>,
}

impl Pattern {
    fn of(values: &[Option<f64>], neighbours: &[Vec<usize>], weights: Weights) -> Option<Pattern> {
        assert_eq!(
            values.len(),
            neighbours.len(),
            "our own promise: one list of neighbours an area; please tell us"
        );
        let value = |area: usize| values[area].filter(|value| value.is_finite());
        let linked = |area: usize| neighbours[area].iter().any(|&near| value(near).is_some());
        let mut position = vec![None; values.len()];
        let mut kept = Vec::new();
        for (area, position) in position.iter_mut().enumerate() {
            if let Some(value) = value(area).filter(|_| linked(area)) {
                *position = Some(kept.len());
                kept.push(value);
            }
        }
        let differ = kept.iter().any(|value| *value != kept[0]);
        if kept.len() < AREAS_MIN || !differ {
            return None;
        }
        let neighbours: Vec<Vec<usize>> = (0..values.len())
            .filter(|area| position[*area].is_some())
            .map(|area| {
                let near = neighbours[area].iter().filter_map(|&near| position[near]);
                let mut near: Vec<usize> = near.collect();
                near.sort_unstable();
                near
            })
            .collect();
        let mean = kept.iter().sum::<f64>() / kept.len() as f64;
        Some(Pattern {
            deviations: kept.iter().map(|value| value - mean).collect(),
            link_weights: neighbours
                .iter()
                .map(|near| match weights {
                    Weights::Binary => 1.0,
                    // An area that only others name as a neighbour has no link of its own.
                    Weights::RowStandardised => 1.0 / near.len().max(1) as f64,
                })
                .collect(),
            neighbours,
        })
    }

    /// Whether every area is next to every other.
    fn all_touch(&self) -> bool {
        let others = self.neighbours.len() - 1;
        self.neighbours.iter().all(|near| near.len() == others)
    }

    /// I of deviations that lie on the areas in this order.
    fn statistic(&self, deviations: &[f64]) -> f64 {
        let products: f64 = (0..deviations.len())
            .map(|area| {
                let near = self.neighbours[area].iter();
                let around: f64 = near.map(|&near| deviations[near]).sum();
                deviations[area] * self.link_weights[area] * around
            })
            .sum();
        let squares: f64 = deviations.iter().map(|deviation| deviation.powi(2)).sum();
        deviations.len() as f64 / self.weight_sum() * products / squares
    }

    /// S0: the sum of all weights.
    fn weight_sum(&self) -> f64 {
        (0..self.neighbours.len())
            .map(|area| self.row_sum(area))
            .sum()
    }

    fn row_sum(&self, area: usize) -> f64 {
        self.neighbours[area].len() as f64 * self.link_weights[area]
    }

    fn weight(&self, from: usize, to: usize) -> f64 {
        match self.neighbours[from].binary_search(&to) {
            Ok(_) => self.link_weights[from],
            Err(_) => 0.0,
        }
    }

    /// S1: half the sum of (weight there + weight back)² over all ordered pairs.
    fn pair_squares(&self) -> f64 {
        let mut sum = 0.0;
        for (area, near) in self.neighbours.iter().enumerate() {
            for &other in near {
                let back = self.weight(other, area);
                let both = (self.link_weights[area] + back).powi(2);
                // A link without its counterpart is met once, and is two of the ordered pairs.
                sum += if back == 0.0 { 2.0 * both } else { both };
            }
        }
        sum / 2.0
    }

    /// S2: the sum of (row + column)² over the areas.
    fn margin_squares(&self) -> f64 {
        let mut columns = vec![0.0; self.neighbours.len()];
        for (area, near) in self.neighbours.iter().enumerate() {
            for &other in near {
                columns[other] += self.link_weights[area];
            }
        }
        columns
            .iter()
            .enumerate()
            .map(|(area, column)| (self.row_sum(area) + column).powi(2))
            .sum()
    }

    fn variance_normal(&self, expectation: f64) -> f64 {
        let areas = self.deviations.len() as f64;
        let (s0, s1, s2) = (
            self.weight_sum(),
            self.pair_squares(),
            self.margin_squares(),
        );
        let upper = areas * areas * s1 - areas * s2 + 3.0 * s0 * s0;
        upper / (s0 * s0 * (areas * areas - 1.0)) - expectation * expectation
    }

    fn variance_randomised(&self, expectation: f64) -> Option<f64> {
        if self.deviations.len() < AREAS_OF_RANDOMISATION_MIN {
            return None;
        }
        let areas = self.deviations.len() as f64;
        let (s0, s1, s2) = (
            self.weight_sum(),
            self.pair_squares(),
            self.margin_squares(),
        );
        let moment = |power| {
            let sum: f64 = self.deviations.iter().map(|z| z.powi(power)).sum();
            sum / areas
        };
        let kurtosis = moment(4) / moment(2).powi(2);
        let first = areas * ((areas * areas - 3.0 * areas + 3.0) * s1 - areas * s2 + 3.0 * s0 * s0);
        let second = kurtosis * ((areas * areas - areas) * s1 - 2.0 * areas * s2 + 6.0 * s0 * s0);
        let lower = (areas - 1.0) * (areas - 2.0) * (areas - 3.0) * s0 * s0;
        Some((first - second) / lower - expectation * expectation)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Rook neighbors on a square grid, row by row.
    fn rook(width: usize) -> Vec<Vec<usize>> {
        (0..width * width)
            .map(|cell| {
                let (row, column) = (cell / width, cell % width);
                let mut near = Vec::new();
                near.extend((row > 0).then(|| cell - width));
                near.extend((column > 0).then(|| cell - 1));
                near.extend((column + 1 < width).then_some(cell + 1));
                near.extend((row + 1 < width).then_some(cell + width));
                near
            })
            .collect()
    }

    /// Areas in a row, each linked to the next.
    fn line(areas: usize) -> Vec<Vec<usize>> {
        (0..areas)
            .map(|area| {
                let before = area.checked_sub(1);
                let after = (area + 1 < areas).then_some(area + 1);
                before.into_iter().chain(after).collect()
            })
            .collect()
    }

    #[test]
    fn areas_that_all_touch_have_no_pattern() {
        for areas in [3, 4] {
            let everybody: Vec<Vec<usize>> = (0..areas)
                .map(|area| (0..areas).filter(|near| *near != area).collect())
                .collect();
            let values: Vec<Option<f64>> =
                (0u32..).take(areas).map(|n| Some(f64::from(n))).collect();
            let test = |near: &[Vec<usize>]| {
                permutation_test(&values, near, Weights::RowStandardised, 99, 1)
            };
            assert_eq!(test(&everybody), None, "{areas}");
            assert!(test(&line(areas)).is_some(), "{areas}");
        }
    }

    fn some(values: &[f64]) -> Vec<Option<f64>> {
        values.iter().copied().map(Some).collect()
    }

    #[track_caller]
    fn assert_i(values: &[f64], neighbours: &[Vec<usize>], weights: Weights, expected: f64) {
        let found = morans_i(&some(values), neighbours, weights).expect("it is defined");
        let near = (found.statistic - expected).abs() < 5e-8;
        assert!(near, "{found:?}, expected {expected}");
    }

    /// Recomputed from the formula with plain sums.
    #[test]
    fn small_patterns_give_the_recomputed_values() {
        use Weights::{Binary, RowStandardised};
        let rising: Vec<f64> = (1..=9).map(f64::from).collect();
        assert_i(&rising, &rook(3), Binary, 0.5);
        assert_i(&rising, &rook(3), RowStandardised, 0.555_555_6);
        for width in [3, 4] {
            let board: Vec<f64> = (0..width * width)
                .map(|cell| ((cell / width + cell % width) % 2) as f64)
                .collect();
            assert_i(&board, &rook(width), Binary, -1.0);
            assert_i(&board, &rook(width), RowStandardised, -1.0);
        }
        let mut corner = [0.0; 16];
        for cell in [0, 1, 4, 5] {
            corner[cell] = 1.0;
        }
        assert_i(&corner, &rook(4), Binary, 0.555_555_6);
        assert_i(&corner, &rook(4), RowStandardised, 0.611_111_1);
        assert_i(&[1.0, 2.0, 3.0, 4.0, 5.0], &line(5), Binary, 0.5);
        assert_i(&[2.0, 4.0, 3.0, 8.0, 9.0], &line(5), Binary, 0.353_092_8);
        let found = morans_i(&some(&[1.0, 2.0, 3.0, 4.0, 5.0]), &line(5), Binary);
        assert_eq!(found.expect("it is defined").expectation, -0.25);
    }
    #[test]
    fn areas_without_a_value_or_a_link_do_not_count() {
        let whole = morans_i(
            &some(&[2.0, 4.0, 3.0, 8.0, 9.0]),
            &line(5),
            Weights::RowStandardised,
        );
        // The same line, with an island of value 50, an area without a value at its end, one that is not
        // a number, and one whose only neighbour has no value.
        let mut values = some(&[2.0, 4.0, 3.0, 8.0, 9.0, 50.0]);
        values.extend([None, Some(f64::NAN), Some(70.0)]);
        let mut neighbours = line(5);
        neighbours[4].push(6);
        neighbours.extend([vec![], vec![4, 7, 8], vec![6], vec![6]]);
        let with_others = morans_i(&values, &neighbours, Weights::RowStandardised);
        assert_eq!(whole.expect("it is defined").areas, 5);
        assert_eq!(with_others, whole);
    }

    #[test]
    fn without_a_pattern_to_find_there_is_no_statistic() {
        let defined = |values: &[f64], neighbours: &[Vec<usize>]| {
            let values = some(values);
            let found = morans_i(&values, neighbours, Weights::Binary);
            let tested = permutation_test(&values, neighbours, Weights::Binary, 9, 1);
            assert_eq!(found.is_some(), tested.is_some());
            found.is_some()
        };
        assert!(!defined(&[], &[]));
        assert!(!defined(&[1.0, 2.0], &line(2)));
        assert!(!defined(&[0.1; 5], &line(5)), "all values are equal");
        assert!(!defined(&[1.0, 2.0, 3.0, 4.0], &vec![vec![]; 4]));
        assert!(defined(&[1.0, 2.0, 4.0], &line(3)));
        let three = morans_i(&some(&[1.0, 2.0, 4.0]), &line(3), Weights::Binary);
        let three = three.expect("it is defined");
        assert_eq!((three.variance_randomised, three.z()), (None, None));
    }

    /// Every order of some values.
    fn orders(values: &[f64]) -> Vec<Vec<f64>> {
        if values.is_empty() {
            return vec![Vec::new()];
        }
        let mut all = Vec::new();
        for first in 0..values.len() {
            let mut rest = values.to_vec();
            let first = rest.remove(first);
            for mut order in orders(&rest) {
                order.push(first);
                all.push(order);
            }
        }
        all
    }

    /// Mean, variance and p-value against all 720 orders of six values, for both weights.
    #[test]
    fn the_moments_and_the_test_are_those_of_all_orders() {
        let values = [2.0, 4.0, 3.0, 8.0, 9.0, 6.0];
        for (weights, as_given) in [(Weights::Binary, 775), (Weights::RowStandardised, 910)] {
            let found = morans_i(&some(&values), &line(6), weights).expect("it is defined");
            let all: Vec<f64> = orders(&values)
                .iter()
                .filter_map(|order| morans_i(&some(order), &line(6), weights))
                .map(|moran| moran.statistic)
                .collect();
            assert_eq!(all.len(), 720);
            let mean = all.iter().sum::<f64>() / 720.0;
            let variance = all.iter().map(|i| (i - mean).powi(2)).sum::<f64>() / 720.0;
            assert!((found.expectation - mean).abs() < 1e-12);
            let randomised = found.variance_randomised.expect("six areas");
            assert!(
                (randomised - variance).abs() < 1e-12,
                "{randomised} {variance}"
            );
            let at_least = all.iter().filter(|i| **i >= found.statistic - ROUNDING);
            let exact = at_least.count() as f64 / 720.0;
            let test = permutation_test(&some(&values), &line(6), weights, 9_999, 7);
            let test = test.expect("it is defined");
            // Four standard errors of a share of 9,999 draws.
            let error = 4.0 * (exact * (1.0 - exact) / 9_999.0).sqrt();
            assert!((test.p_value - exact).abs() < error, "{test:?}, {exact}");
            let again = permutation_test(&some(&values), &line(6), weights, 9_999, 7);
            assert_eq!(again, Some(test));
            // As the program gave it: another number means that the seed no longer fixes the orders.
            assert_eq!(test.at_least, as_given, "{weights:?}");
        }
    }
}
