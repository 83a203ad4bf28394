//! Mann and Kendall's test: whether a series rises or falls, whatever the shape of its course.
//!
//! S counts the pairs that rise less the pairs that fall. Variance with ties and the continuity correction:
//! Gilbert, R.O. 1987, Statistical Methods for Environmental Pollution Monitoring, chapter 16. The normal
//! approximation is poor for ten values or fewer; there the distribution of S over all orders of the same
//! values is counted out. The test supposes values that do not remember each other: see `hamed_rao.rs`.

use statrs::distribution::{ContinuousCDF, Normal};

/// Up to this length the orders are counted out (Gilbert 1987, table A18, ends there).
const LENGTH_OF_EXACT: usize = 10;

/// What the test says of a series.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct MannKendall {
    /// Values of the series.
    pub length: usize,
    /// Pairs that rise less pairs that fall.
    pub s: i64,
    /// Variance of S if there is no trend, ties taken into account. 0 if all values are equal.
    pub variance: f64,
    /// S less 1 in size, in its standard deviations; 0 where S or the variance is.
    pub z: f64,
    /// Two-sided probability of such an S without a trend, by the normal approximation.
    pub p_value: f64,
    /// The same, counted out over all orders of the values; for ten values or fewer, with ties or without.
    pub exact_p_value: Option<f64>,
    /// Kendall's tau-b of the values and their order; `None` if all values are equal.
    pub tau_b: Option<f64>,
}

impl MannKendall {
    /// The two-sided probability to rely on: counted out where it is, else approximate.
    pub fn best_p_value(&self) -> f64 {
        self.exact_p_value.unwrap_or(self.p_value)
    }
}

/// The test of values in the order of their times. `None` for fewer than two values, or if one of them is
/// no number.
pub fn mann_kendall(values: &[f64]) -> Option<MannKendall> {
    if values.len() < 2 || values.iter().any(|value| !value.is_finite()) {
        return None;
    }
    let s = score(values);
    let ties = tie_sizes(values);
    let variance = variance_of_score(values.len(), &ties);
    let z = continuity_corrected(s, variance);
    let pairs = pairs(values.len());
    let tied: f64 = ties.iter().map(|size| self::pairs(*size)).sum();
    Some(MannKendall {
        length: values.len(),
        s,
        variance,
        z,
        p_value: two_sided(z),
        exact_p_value: (values.len() <= LENGTH_OF_EXACT)
            .then(|| (2.0 * upper_tail(s.abs(), &ties)).min(1.0)),
        tau_b: (tied < pairs).then(|| s as f64 / (pairs * (pairs - tied)).sqrt()),
    })
}

/// Z with the continuity correction from a score and its variance; 0 where either is 0.
pub(crate) fn continuity_corrected(s: i64, variance: f64) -> f64 {
    if s == 0 || variance <= 0.0 {
        return 0.0;
    }
    (s - s.signum()) as f64 / variance.sqrt()
}

/// The two-sided probability of a standard normal deviate.
pub(crate) fn two_sided(z: f64) -> f64 {
    let standard_normal = Normal::new(0.0, 1.0).expect("the standard normal distribution exists");
    (2.0 * standard_normal.sf(z.abs())).min(1.0)
}

/// Variance of S without a trend: `[n(n−1)(2n+5) − Σt(t−1)(2t+5)]/18` over groups of equal values.
pub(crate) fn variance_of_score(length: usize, ties: &[usize]) -> f64 {
    let part = |size: usize| {
        let size = size as f64;
        size * (size - 1.0) * (2.0 * size + 5.0)
    };
    let tied: f64 = ties.iter().map(|size| part(*size)).sum();
    (part(length) - tied) / 18.0
}

/// How many values are equal, for each value; 1 for a value without its like.
pub(crate) fn tie_sizes(values: &[f64]) -> Vec<usize> {
    let mut sorted = values.to_vec();
    sorted.sort_by(f64::total_cmp);
    // 0 and −0 are equal, but not sorted apart by any other value.
    sorted
        .chunk_by(|one, other| one == other)
        .map(<[f64]>::len)
        .collect()
}

fn score(values: &[f64]) -> i64 {
    let later = |place: usize| values[place + 1..].iter();
    let signs = values.iter().enumerate().flat_map(|(place, value)| {
        later(place).map(move |other| i64::from(other > value) - i64::from(other < value))
    });
    signs.sum()
}

fn pairs(size: usize) -> f64 {
    size as f64 * (size as f64 - 1.0) / 2.0
}

/// The probability that all orders of values with these ties, equally likely, give S or more: one-sided.
fn upper_tail(s: i64, ties: &[usize]) -> f64 {
    let orders = orders_by_falling_pairs(ties);
    let untied = (orders.len() - 1) as i64;
    let all: f64 = orders.iter().sum();
    // S = untied pairs − 2·falling pairs.
    let (falling, counts) = (0i64.., orders.iter());
    let few = falling
        .zip(counts)
        .filter(|(falling, _)| untied - 2 * falling >= s);
    few.map(|(_, count)| count).sum::<f64>() / all
}

/// Distinct orders of values with these ties, by the number of pairs that fall: the coefficients of the
/// Gaussian multinomial coefficient, as a product of binomial ones (MacMahon 1916, Combinatory Analysis;
/// from memory). Counts up to 10! are whole in a double.
fn orders_by_falling_pairs(ties: &[usize]) -> Vec<f64> {
    let mut orders = vec![1.0];
    let mut placed = 0;
    for size in ties {
        placed += size;
        orders = product(&orders, &gaussian_binomial(placed, *size));
    }
    orders
}

/// Coefficients of the Gaussian binomial, by `[m k] = [m−1 k−1] + q^k·[m−1 k]`.
fn gaussian_binomial(of: usize, chosen: usize) -> Vec<f64> {
    let mut row: Vec<Vec<f64>> = vec![vec![1.0]];
    for size in 1..=of {
        let next = (0..=size).map(|chosen| {
            let mut sum = vec![0.0; chosen * (size - chosen) + 1];
            if chosen > 0 {
                add(&mut sum, &row[chosen - 1], 0);
            }
            if chosen < size {
                add(&mut sum, &row[chosen], chosen);
            }
            sum
        });
        row = next.collect();
    }
    row.swap_remove(chosen)
}

fn add(sum: &mut [f64], part: &[f64], shift: usize) {
    for (place, value) in part.iter().enumerate() {
        sum[place + shift] += value;
    }
}

fn product(one: &[f64], other: &[f64]) -> Vec<f64> {
    let mut product = vec![0.0; one.len() + other.len() - 1];
    for (place, value) in one.iter().enumerate() {
        let scaled: Vec<f64> = other.iter().map(|other| value * other).collect();
        add(&mut product, &scaled, place);
    }
    product
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Sulfate, ppm: US EPA 2009, Unified Guidance (EPA 530/R-09-007), example 17-6.
    const SULFATE: [f64; 23] = [
        480.0, 450.0, 490.0, 520.0, 485.0, 510.0, 510.0, 530.0, 510.0, 560.0, 560.0, 540.0, 590.0,
        550.0, 600.0, 700.0, 570.0, 610.0, 650.0, 620.0, 830.0, 720.0, 590.0,
    ];

    #[test]
    fn sulfate_rises_as_printed() {
        let test = mann_kendall(&SULFATE).expect("23 numbers");
        assert_eq!((test.length, test.s, test.variance), (23, 194, 1428.0));
        assert!((test.z - 5.107322).abs() < 5e-7, "{}", test.z);
        assert!(
            (test.p_value - 3.267574e-7).abs() < 5e-13,
            "{}",
            test.p_value
        );
        assert!((test.tau_b.expect("differing values") - 0.774490).abs() < 5e-7);
        assert_eq!(test.exact_p_value, None);
    }

    #[test]
    fn short_series_are_counted_out() {
        // US EPA 2006, QA/G-9 (the first, from memory), and Gilbert 1987, table A18.
        let rising = |length: u32| (0..length).map(f64::from).collect::<Vec<_>>();
        for (values, s, probability) in [
            (vec![5.0, 6.0, 11.0, 8.0, 10.0], 6, 0.116667),
            (vec![10.0, 15.0, 14.0, 20.0], 4, 0.166667),
            (rising(4), 6, 1.0 / 24.0),
            (rising(7), 15, 0.015079),
            (rising(8), 16, 0.030506),
        ] {
            let found = upper_tail(s, &tie_sizes(&values));
            assert!((found - probability).abs() < 5e-7, "{found}, {probability}");
        }
        let test = mann_kendall(&[5.0, 6.0, 11.0, 8.0, 10.0]).expect("five numbers");
        assert_eq!(test.s, 6);
        assert!((test.best_p_value() - 2.0 * 0.1166667).abs() < 5e-7);
    }

    #[test]
    fn ties_are_counted_out_too() {
        // 1 1 2: three orders, S 2, 0 and −2; by hand.
        assert_eq!(upper_tail(2, &[2, 1]), 1.0 / 3.0);
        assert_eq!(upper_tail(0, &[2, 1]), 2.0 / 3.0);
        let orders: f64 = orders_by_falling_pairs(&[2, 3, 1, 4]).iter().sum();
        // 10!/(2!·3!·4!), by hand.
        assert_eq!(orders, 12600.0);
    }

    #[test]
    fn ten_values_that_rise_with_slips() {
        let test = mann_kendall(&[5.0, 4.0, 6.0, 8.0, 7.0, 10.0, 12.0, 11.0, 15.0, 14.0]);
        let test = test.expect("ten numbers");
        assert_eq!((test.s, test.variance), (37, 125.0));
        assert!((test.z - 3.219938).abs() < 5e-7);
    }

    #[test]
    fn a_level_series_has_no_trend_and_no_tau() {
        let test = mann_kendall(&[3.0; 6]).expect("six numbers");
        assert_eq!((test.s, test.variance, test.z), (0, 0.0, 0.0));
        assert_eq!(
            (test.p_value, test.exact_p_value, test.tau_b),
            (1.0, Some(1.0), None)
        );
    }

    #[test]
    fn what_is_no_series() {
        assert_eq!(mann_kendall(&[]), None);
        assert_eq!(mann_kendall(&[1.0]), None);
        assert_eq!(mann_kendall(&[1.0, f64::NAN, 2.0]), None);
        let eleven = mann_kendall(&[1.0; 11]).expect("eleven numbers");
        assert_eq!(eleven.exact_p_value, None);
        let zeros = mann_kendall(&[0.0, -0.0]).expect("two numbers");
        assert_eq!((zeros.s, zeros.variance), (0, 0.0));
    }
}
