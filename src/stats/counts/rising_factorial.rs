//! Sums over the factors k, k+1, … k+x−1 that the negative binomial distribution is made of.
//!
//! Written as differences of ln Γ, ψ and ψ′ they lose every digit when k is large, which is just where
//! the distribution goes over into Poisson's. So the first terms are summed one by one and the rest by the
//! Euler–Maclaurin formula (Abramowitz & Stegun 1964, 3.6.28; from memory), which from a factor of 64 on
//! is exact to the last digits of a double.

/// Terms that are summed one by one.
const SINGLE_TERMS: u64 = 64;

/// `Σ ln(1 + j/k)` over j < count: ln Γ(k+x) − ln Γ(k) − x·ln k.
pub(crate) fn log_rising_ratio(k: f64, count: u64) -> f64 {
    // The antiderivative in j, divided by k, with j = k·share.
    let antiderivative = |share: f64| (1.0 + share) * share.ln_1p() - share;
    let terms = Terms {
        term: |j: f64| (j / k).ln_1p(),
        integral: |from: f64, to: f64| k * (antiderivative(to / k) - antiderivative(from / k)),
        derivatives: |j: f64| {
            let factor = k + j;
            [1.0 / factor, 2.0 / factor.powi(3), 24.0 / factor.powi(5)]
        },
    };
    terms.sum(count)
}

/// `Σ 1/(k + j)` over j < count: ψ(k+x) − ψ(k).
pub(crate) fn reciprocal_sum(k: f64, count: u64) -> f64 {
    let terms = Terms {
        term: |j: f64| 1.0 / (k + j),
        integral: |from: f64, to: f64| ((to - from) / (k + from)).ln_1p(),
        derivatives: |j: f64| {
            let factor = k + j;
            [
                -1.0 / factor.powi(2),
                -6.0 / factor.powi(4),
                -120.0 / factor.powi(6),
            ]
        },
    };
    terms.sum(count)
}

/// `Σ 1/(k + j)²` over j < count: ψ′(k) − ψ′(k+x).
pub(crate) fn squared_reciprocal_sum(k: f64, count: u64) -> f64 {
    let terms = Terms {
        term: |j: f64| (k + j).powi(-2),
        integral: |from: f64, to: f64| (to - from) / (k + from) / (k + to),
        derivatives: |j: f64| {
            let factor = k + j;
            [
                -2.0 / factor.powi(3),
                -24.0 / factor.powi(5),
                -720.0 / factor.powi(7),
            ]
        },
    };
    terms.sum(count)
}

/// The terms of a sum over j = 0, 1, 2 …
struct Terms<Term, Integral, Derivatives> {
    /// The term of j.
    term: Term,
    /// The integral of the terms from one j to another.
    integral: Integral,
    /// First, third and fifth derivative at j.
    derivatives: Derivatives,
}

impl<Term, Integral, Derivatives> Terms<Term, Integral, Derivatives>
where
    Term: Fn(f64) -> f64,
    Integral: Fn(f64, f64) -> f64,
    Derivatives: Fn(f64) -> [f64; 3],
{
    /// The sum of the terms of j < count.
    fn sum(&self, count: u64) -> f64 {
        let single = count.min(SINGLE_TERMS);
        let first: f64 = (0..single).map(|j| (self.term)(j as f64)).sum();
        if count == single {
            return first;
        }
        let (from, to) = (single as f64, count as f64);
        let (start, end) = ((self.derivatives)(from), (self.derivatives)(to));
        first
            + (self.integral)(from, to)
            + ((self.term)(from) - (self.term)(to)) / 2.0
            + (end[0] - start[0]) / 12.0
            - (end[1] - start[1]) / 720.0
            + (end[2] - start[2]) / 30_240.0
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const K: [f64; 6] = [1e-6, 0.03, 1.0, 7.5, 400.0, 1e9];

    fn assert_close(value: f64, expected: f64, tolerance: f64) {
        assert!(
            (value - expected).abs() <= tolerance,
            "{value}, expected {expected}"
        );
    }

    #[test]
    fn long_sums_are_those_of_their_single_terms() {
        for k in K {
            for count in [0, 1, 5, 63, 64, 65, 100, 20_000] {
                // From the smallest term on, so that the plain sum keeps its digits.
                let plain =
                    |term: &dyn Fn(f64) -> f64| (0..count).rev().map(|j| term(j as f64)).sum();
                let sum = plain(&|j| 1.0 / (k + j));
                assert_close(reciprocal_sum(k, count), sum, 1e-13 * sum);
                let sum = plain(&|j| (k + j).powi(-2));
                assert_close(squared_reciprocal_sum(k, count), sum, 1e-13 * sum);
                let logarithms: f64 = (0..count).map(|j| (j as f64 / k).ln_1p()).sum();
                // The logarithm of a probability has other parts of the size of the count.
                let tolerance = 1e-13 * logarithms + 1e-15 * count as f64;
                assert_close(log_rising_ratio(k, count), logarithms, tolerance);
            }
        }
    }

    #[test]
    fn sums_are_differences_of_the_gamma_function_and_its_derivative() {
        use statrs::function::gamma::{digamma, ln_gamma};
        for (k, count) in [(0.5, 3), (2.25, 70), (9.0, 5_000)] {
            let end = k + count as f64;
            let logarithms = ln_gamma(end) - ln_gamma(k) - count as f64 * f64::ln(k);
            assert!((log_rising_ratio(k, count) - logarithms).abs() < 1e-8 * logarithms.abs());
            assert!((reciprocal_sum(k, count) - (digamma(end) - digamma(k))).abs() < 1e-10);
        }
    }
}
