//! Egg counts of one head: a negative binomial, spread over the six bracts.
//!
//! The model, all of it assumed, since no published aggregation parameter for these eggs exists:
//! the eggs on the six bracts of a head follow a negative binomial with mean `m` and aggregation `k`
//! (variance `m + m²/k`), drawn as a Poisson count whose mean is Gamma distributed with shape `k` and
//! scale `m/k`; each egg is then on any of the six bracts with the same chance.

use rand::Rng;
use rand_distr::{Distribution, Gamma, Poisson};

use scouting::visit::count::Count;

/// Bracts examined on a head.
pub const BRACTS: usize = 6;
/// Aggregation `k` of eggs per six bracts, from head to head within a site. Assumed.
pub const AGGREGATION_ASSUMED: f64 = 1.2;
/// More eggs than that on six bracts are not generated.
const EGGS_MAX: f64 = 500.0;

/// Draws heads with a mean number of eggs per six bracts.
#[derive(Debug, Clone, Copy)]
pub struct EggCounts {
    /// The Gamma distribution of a head's own mean; none where there are no eggs at all.
    head_mean: Option<Gamma<f64>>,
}

impl EggCounts {
    /// Negative binomial with this mean (eggs per six bracts, 0 or more) and aggregation `k` (above 0).
    pub fn new(mean: f64, aggregation: f64) -> Self {
        EggCounts {
            head_mean: Gamma::new(aggregation, mean / aggregation).ok(),
        }
    }

    /// Eggs on the six bracts of one head.
    pub fn eggs_of_head(&self, chance: &mut impl Rng) -> u32 {
        let mean = self
            .head_mean
            .map_or(0.0, |head_mean| head_mean.sample(chance));
        // A Gamma draw can underflow to 0, for which there is no Poisson distribution: no eggs.
        let eggs = Poisson::new(mean.min(EGGS_MAX)).map_or(0.0, |eggs| eggs.sample(chance));
        eggs.min(EGGS_MAX) as u32
    }

    /// One head: eggs bract by bract.
    pub fn head(&self, chance: &mut impl Rng) -> Vec<Count> {
        let mut bracts = vec![Count(0); BRACTS];
        for _ in 0..self.eggs_of_head(chance) {
            bracts[chance.random_range(0..BRACTS)].0 += 1;
        }
        bracts
    }
}

#[cfg(test)]
mod tests {
    use rand::SeedableRng;
    use rand_chacha::ChaCha8Rng;

    use super::{AGGREGATION_ASSUMED, BRACTS, EggCounts};

    const HEADS: usize = 200_000;

    #[test]
    fn mean_variance_and_zeros_are_those_of_the_negative_binomial() {
        let mut chance = ChaCha8Rng::seed_from_u64(1);
        for mean in [0.3, 2.0, 8.0] {
            let k = AGGREGATION_ASSUMED;
            let counts = EggCounts::new(mean, k);
            let eggs: Vec<f64> = (0..HEADS)
                .map(|_| f64::from(counts.eggs_of_head(&mut chance)))
                .collect();
            let found_mean = eggs.iter().sum::<f64>() / HEADS as f64;
            let found_variance =
                eggs.iter().map(|e| (e - found_mean).powi(2)).sum::<f64>() / (HEADS - 1) as f64;
            let found_zeros = eggs.iter().filter(|e| **e == 0.0).count() as f64 / HEADS as f64;
            // The negative binomial's variance and zero term: Bliss & Fisher 1953, Biometrics 9:176–200.
            let variance = mean + mean * mean / k;
            let zeros = (k / (k + mean)).powf(k);
            // Five standard errors of a mean of 200,000; the variance of a variance is wider.
            let margin = 5.0 * (variance / HEADS as f64).sqrt();
            assert!(
                (found_mean - mean).abs() < margin,
                "{found_mean} for {mean}"
            );
            assert!(
                (found_variance / variance - 1.0).abs() < 0.05,
                "{found_variance} for {variance}"
            );
            assert!(
                (found_zeros - zeros).abs() < 0.006,
                "{found_zeros} for {zeros}"
            );
        }
    }

    #[test]
    fn the_bracts_of_a_head_share_its_eggs_evenly() {
        let mut chance = ChaCha8Rng::seed_from_u64(2);
        let counts = EggCounts::new(6.0, AGGREGATION_ASSUMED);
        let mut sums = [0u32; BRACTS];
        for _ in 0..20_000 {
            for (sum, count) in sums.iter_mut().zip(counts.head(&mut chance)) {
                *sum += count.0;
            }
        }
        for sum in sums {
            // Each bract expects 20,000 × 6 / 6 eggs, with a standard deviation near 183.
            assert!((19_000..21_000).contains(&sum), "{sums:?}");
        }
    }

    #[test]
    fn no_mean_gives_no_eggs() {
        let mut chance = ChaCha8Rng::seed_from_u64(3);
        let counts = EggCounts::new(0.0, AGGREGATION_ASSUMED);
        assert!((0..1000).all(|_| counts.eggs_of_head(&mut chance) == 0));
    }
}
