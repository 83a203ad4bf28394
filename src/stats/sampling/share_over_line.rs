//! Whether more than a third of a county's fields are at threshold: how sure a sample is of it, and how often a rule that
//! asks for a third of the sample fires.
//!
//! A third is the line that offices use (common practice, no source). Both figures hold for fields that are a random
//! sample; fields that scouts choose, or that share a farm, tell less.

use statrs::distribution::{Beta, Binomial, ContinuousCDF, DiscreteCDF};

/// The line: this part of the fields, as a share.
const THIRD: f64 = 1.0 / 3.0;

/// The posterior probability that more than a third of all fields are at threshold, where `found` of the `all` fields of a
/// random sample are: Jeffreys' prior, Beta(1/2, 1/2) (Brown, L.D., Cai, T.T. & DasGupta, A. 2001, Stat. Sci.
/// 16:101-133). `None` of nothing, and for more found than sampled.
pub fn probability_over_third(found: u32, all: u32) -> Option<f64> {
    let rest = all.checked_sub(found).filter(|_| all > 0)?;
    let posterior = Beta::new(f64::from(found) + 0.5, f64::from(rest) + 0.5).ok()?;
    Some(posterior.sf(THIRD))
}

/// How often at least a third of the fields of a random sample are at threshold, where this share of all fields is
/// (binomial). `None` of nothing, and for what is no share.
pub fn chance_of_third(fields: u32, share: f64) -> Option<f64> {
    let sample = Binomial::new(share, u64::from(fields)).ok()?;
    let below = u64::from(fields_of_third(fields).checked_sub(1)?);
    Some(sample.sf(below))
}

/// The fewest fields at threshold that are at least a third of a sample.
pub fn fields_of_third(fields: u32) -> u32 {
    fields.div_ceil(3)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Posterior probabilities by scipy's `beta.sf(1/3, found + 1/2, all - found + 1/2)`.
    #[test]
    fn the_posterior_of_jeffreys() {
        for (found, all, expected) in [
            (0, 3, 0.103_551_710),
            (1, 3, 0.530_368_334),
            (3, 3, 0.992_753_010),
            (0, 5, 0.038_814_092),
            (2, 5, 0.641_024_496),
            (4, 6, 0.954_173_906),
            (3, 9, 0.516_473_056),
            (7, 20, 0.572_854_835),
        ] {
            let probability = probability_over_third(found, all).expect("a sample");
            assert!(
                (probability - expected).abs() < 1e-8,
                "{found} of {all}: {probability}"
            );
        }
        assert_eq!(probability_over_third(0, 0), None);
        assert_eq!(probability_over_third(4, 3), None);
    }

    /// Binomial probabilities to three digits, computed beforehand by another program.
    #[test]
    fn a_rule_of_a_third_fires_as_often_as_the_binomial_says() {
        const SHARES: [f64; 6] = [0.05, 0.10, 0.20, 0.333, 0.50, 0.60];
        const FIRES: [(u32, u32, [f64; 6]); 6] = [
            (3, 1, [0.143, 0.271, 0.488, 0.704, 0.875, 0.936]),
            (5, 2, [0.023, 0.081, 0.263, 0.539, 0.812, 0.913]),
            (6, 2, [0.033, 0.114, 0.345, 0.649, 0.891, 0.959]),
            (9, 3, [0.008, 0.053, 0.262, 0.623, 0.910, 0.975]),
            (12, 4, [0.002, 0.026, 0.205, 0.607, 0.927, 0.985]),
            (20, 7, [0.000, 0.002, 0.087, 0.521, 0.942, 0.994]),
        ];
        for (fields, needed, expected) in FIRES {
            assert_eq!(fields_of_third(fields), needed);
            for (share, expected) in SHARES.into_iter().zip(expected) {
                // A third itself, not 0.333, is meant by the column.
                let share = if share == 0.333 { THIRD } else { share };
                let chance = chance_of_third(fields, share).expect("a sample");
                assert!(
                    (chance - expected).abs() < 5.1e-4,
                    "{fields} at {share}: {chance}"
                );
            }
        }
        assert_eq!(chance_of_third(0, 0.5), None);
        assert_eq!(chance_of_third(5, 1.5), None);
    }
}
