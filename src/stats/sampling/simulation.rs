//! What a sequential plan does in practice: its operating characteristic and the units it takes, by drawing
//! counts of a known mean and following its rule until a decision or the limit.
//!
//! The same seed gives the same figures on the same version of the program. Negative binomial counts are
//! drawn as Poisson counts whose mean is Gamma distributed; a test holds the first draws, so that another
//! version of the library that draws them cannot change published figures unseen.

use rand::{Rng, SeedableRng};
use rand_chacha::ChaCha8Rng;
use rand_distr::{Binomial, Distribution, Gamma, Poisson};

use crate::sampling::stop_lines::{Decision, StopRule};

/// How the counts of units are spread about their mean.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Spread {
    /// Chance alone.
    Poisson,
    /// Negative binomial.
    NegativeBinomial {
        /// The exponent, above 0.
        k: f64,
    },
    /// Infested or not: a count is the number of infested ones of so many.
    Presence {
        /// How many are looked at together.
        units: u32,
    },
}

/// A sequential plan with its ends.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct SequentialPlan<Lines> {
    /// The rule.
    pub lines: Lines,
    /// Units that are always looked at before the lines are asked; 1 or more.
    pub units_min: u64,
    /// Units after which the sample ends in any case, by the rule's answer at the limit; `units_min` or more.
    pub units_max: u64,
}

/// How one sample of a plan ended.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct SampleEnd {
    /// What was said: `Low` or `High`.
    pub decision: Decision,
    /// Units that were looked at.
    pub units: u64,
    /// Whether it ended at the most units, between the lines.
    pub at_limit: bool,
}

/// What a plan does at one true mean.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct OperatingPoint {
    /// The true mean, count a unit.
    pub true_mean: f64,
    /// Share of samples that ended `Low`.
    pub probability_low: f64,
    /// Share of samples that ended `High`.
    pub probability_high: f64,
    /// Share of samples that reached the most units between the lines, whatever was said of them.
    pub share_at_limit: f64,
    /// Mean number of units: the average sample number.
    pub mean_units: f64,
    /// 90th percentile of the number of units, interpolated between ranks.
    pub p90_units: f64,
}

impl<Lines: StopRule> SequentialPlan<Lines> {
    /// What the plan does at each of these true means, from so many samples each. Each mean has a stream of
    /// its own under the seed, so that a point does not depend on the points next to it, but on its place.
    ///
    /// `None` if a mean is below 0 or no number (or a share above 1), k is not above 0, no sample is to be
    /// drawn, or the plan's numbers of units are out of order.
    pub fn operating_characteristic(
        &self,
        spread: Spread,
        true_means: &[f64],
        samples: u32,
        seed: u64,
    ) -> Option<Vec<OperatingPoint>> {
        if samples == 0 || self.units_min == 0 || self.units_max < self.units_min {
            return None;
        }
        (0..)
            .zip(true_means)
            .map(|(stream, true_mean)| {
                let mut chance = ChaCha8Rng::seed_from_u64(seed);
                chance.set_stream(stream);
                let counts = UnitCounts::new(spread, *true_mean)?;
                let ends: Vec<SampleEnd> = (0..samples)
                    .map(|_| self.follow(|| counts.draw(&mut chance)))
                    .collect();
                Some(summary(*true_mean, &ends))
            })
            .collect()
    }

    /// Follows one sample to its end, unit by unit.
    pub fn follow(&self, mut next_count: impl FnMut() -> f64) -> SampleEnd {
        let mut total = 0.0;
        for units in 1..=self.units_max {
            total += next_count();
            let decision = self.lines.decide(units, total);
            if units >= self.units_min && decision != Decision::Continue {
                return SampleEnd {
                    decision,
                    units,
                    at_limit: false,
                };
            }
        }
        let units = self.units_max;
        SampleEnd {
            decision: self.lines.decide_at_limit(units, total),
            units,
            at_limit: true,
        }
    }
}

fn summary(true_mean: f64, ends: &[SampleEnd]) -> OperatingPoint {
    let share = |wanted: &dyn Fn(&SampleEnd) -> bool| {
        ends.iter().filter(|end| wanted(end)).count() as f64 / ends.len() as f64
    };
    let mut units: Vec<u64> = ends.iter().map(|end| end.units).collect();
    units.sort_unstable();
    OperatingPoint {
        true_mean,
        probability_low: share(&|end| end.decision == Decision::Low),
        probability_high: share(&|end| end.decision == Decision::High),
        share_at_limit: share(&|end| end.at_limit),
        mean_units: units.iter().sum::<u64>() as f64 / units.len() as f64,
        p90_units: percentile(&units, 0.9),
    }
}

/// A percentile of sorted numbers, interpolated between the ranks about it. There is at least one number.
fn percentile(sorted: &[u64], share: f64) -> f64 {
    let place = share * (sorted.len() - 1) as f64;
    let below = sorted[place.floor() as usize] as f64;
    let above = sorted[place.ceil() as usize] as f64;
    below + (above - below) * place.fract()
}

/// Draws the counts of units with a known mean.
#[derive(Debug, Clone, Copy)]
pub struct UnitCounts(Source);

#[derive(Debug, Clone, Copy)]
enum Source {
    /// The mean is 0, for which there is no distribution: always 0.
    Nothing,
    Poisson(Poisson<f64>),
    /// Of each unit's own mean, about which its count is Poisson's.
    MeanOfUnit(Gamma<f64>),
    Infested(Binomial),
}

impl UnitCounts {
    /// Counts of a spread about a mean; `None` for a mean below 0 or no number (or above all that can be infested), or a k
    /// that is not above 0.
    pub fn new(spread: Spread, mean: f64) -> Option<UnitCounts> {
        if !(mean >= 0.0 && mean.is_finite()) {
            return None;
        }
        let source = match spread {
            Spread::NegativeBinomial { k } if !(k > 0.0 && k.is_finite()) => None,
            Spread::Presence { units } if mean > f64::from(units) => None,
            _ if mean == 0.0 => Some(Source::Nothing),
            Spread::Poisson => Poisson::new(mean).ok().map(Source::Poisson),
            Spread::NegativeBinomial { k } => Gamma::new(k, mean / k).ok().map(Source::MeanOfUnit),
            Spread::Presence { units } => Binomial::new(u64::from(units), mean / f64::from(units))
                .ok()
                .map(Source::Infested),
        };
        source.map(UnitCounts)
    }

    /// The count of one more unit, a whole number.
    pub fn draw(&self, chance: &mut impl Rng) -> f64 {
        match self.0 {
            Source::Nothing => 0.0,
            Source::Poisson(poisson) => poisson.sample(chance),
            // A Gamma draw can underflow to 0, for which there is no Poisson distribution: nothing there.
            Source::MeanOfUnit(means) => {
                Poisson::new(means.sample(chance)).map_or(0.0, |poisson| poisson.sample(chance))
            }
            Source::Infested(infested) => infested.sample(chance) as f64,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::sampling::stop_lines::{Risks, WaldLines};

    const RISKS: Risks = Risks {
        false_high: 0.1,
        false_low: 0.1,
    };

    fn plan() -> SequentialPlan<WaldLines> {
        SequentialPlan {
            lines: WaldLines::negative_binomial(4.6, 2.0, 4.0, RISKS).expect("2 is below 4"),
            units_min: 1,
            units_max: 100,
        }
    }

    const AGGREGATED: Spread = Spread::NegativeBinomial { k: 4.6 };

    fn points(
        plan: SequentialPlan<WaldLines>,
        spread: Spread,
        means: &[f64],
    ) -> Vec<OperatingPoint> {
        let points = plan.operating_characteristic(spread, means, 4_000, 11);
        points.expect("a plan with sense")
    }

    #[test]
    fn drawn_counts_have_their_mean_and_variance() {
        let mut chance = ChaCha8Rng::seed_from_u64(3);
        for (spread, mean, variance) in [
            (Spread::Poisson, 3.0_f64, 3.0_f64),
            (Spread::Poisson, 40.0, 40.0),
            (AGGREGATED, 3.0, 3.0 + 9.0 / 4.6),
            (Spread::NegativeBinomial { k: 0.4 }, 3.0, 25.5),
            (Spread::Presence { units: 1 }, 0.3, 0.21),
            (Spread::Presence { units: 20 }, 1.6, 1.472),
            (Spread::Poisson, 0.0, 0.0),
        ] {
            let counts = UnitCounts::new(spread, mean).expect("a mean of 0 or more");
            let drawn: Vec<f64> = (0..40_000).map(|_| counts.draw(&mut chance)).collect();
            let own_mean = drawn.iter().sum::<f64>() / 4e4;
            let own_variance = drawn
                .iter()
                .map(|count| (count - own_mean).powi(2))
                .sum::<f64>()
                / 4e4;
            // Four standard errors of a mean; a tenth for the variance, whose own error is larger.
            assert!(
                (own_mean - mean).abs() <= 4.0 * (variance / 4e4).sqrt(),
                "{own_mean}"
            );
            assert!(
                (own_variance - variance).abs() <= 0.1 * variance,
                "{own_variance}"
            );
        }
    }

    #[test]
    fn the_first_draws_are_those_of_the_published_figures() {
        // Held here so that another version of the drawing library is noticed, not for their own sake.
        let mut chance = ChaCha8Rng::seed_from_u64(7);
        let mut draw = |spread, mean| -> Vec<f64> {
            let counts = UnitCounts::new(spread, mean).expect("a mean above 0");
            (0..8).map(|_| counts.draw(&mut chance)).collect()
        };
        assert_eq!(
            draw(Spread::NegativeBinomial { k: 0.8 }, 3.0),
            [0.0, 3.0, 2.0, 0.0, 1.0, 2.0, 1.0, 0.0]
        );
        assert_eq!(
            draw(AGGREGATED, 30.0),
            [76.0, 18.0, 19.0, 36.0, 25.0, 26.0, 39.0, 29.0]
        );
        assert_eq!(
            draw(Spread::Poisson, 3.0),
            [2.0, 2.0, 3.0, 2.0, 0.0, 4.0, 2.0, 5.0]
        );
        assert_eq!(
            draw(Spread::Poisson, 30.0),
            [28.0, 38.0, 27.0, 23.0, 34.0, 36.0, 30.0, 26.0]
        );
    }

    #[test]
    fn risks_are_kept_and_the_units_are_about_walds() {
        let points = points(
            plan(),
            AGGREGATED,
            &[0.0, 2.0, plan().lines.slope, 4.0, 9.0],
        );
        // Three standard errors of a share of 0.1 in 4,000 samples: 0.014.
        assert!(points[1].probability_high <= 0.114, "{points:?}");
        assert!(points[3].probability_low <= 0.114, "{points:?}");
        assert_eq!(
            (points[0].probability_low, points[0].mean_units),
            (1.0, 2.0)
        );
        assert!(points[4].probability_high > 0.999);
        // Wald's approximation, 4.874, 5.720 and 3.542, leaves out the overshoot.
        for (point, approximation) in points[1..4].iter().zip([4.874, 5.720, 3.542]) {
            let ratio = point.mean_units / approximation;
            assert!((1.0..1.7).contains(&ratio), "{point:?}");
            assert!(point.p90_units > point.mean_units);
        }
        for point in &points {
            let all = point.probability_low + point.probability_high;
            assert!((all - 1.0).abs() < 1e-12);
        }
    }

    #[test]
    fn the_limit_ends_a_sample_by_its_rule() {
        let short = SequentialPlan {
            units_max: 3,
            ..plan()
        };
        let middle = short.lines.slope;
        let nearer = points(short, AGGREGATED, &[middle])[0];
        assert!(nearer.share_at_limit > 0.2 && nearer.mean_units <= 3.0);
        assert!((nearer.probability_low + nearer.probability_high - 1.0).abs() < 1e-12);
    }

    #[test]
    fn no_sample_ends_before_its_first_units() {
        let patient = SequentialPlan {
            units_min: 10,
            ..plan()
        };
        let points = points(patient, AGGREGATED, &[0.0, 9.0]);
        assert_eq!((points[0].mean_units, points[1].p90_units), (10.0, 10.0));
    }

    #[test]
    fn the_same_seed_gives_the_same_figures() {
        let means = [1.0, 2.0, 3.0];
        let once = points(plan(), AGGREGATED, &means);
        assert_eq!(once, points(plan(), AGGREGATED, &means));
        let other = plan().operating_characteristic(AGGREGATED, &means, 4_000, 12);
        assert_ne!(Some(once), other);
    }

    #[test]
    fn shares_of_infested_units_have_their_plan() {
        let lines = WaldLines::binomial(0.1, 0.3, RISKS).expect("0.1 is below 0.3");
        let points = points(
            SequentialPlan { lines, ..plan() },
            Spread::Presence { units: 1 },
            &[0.1, 0.3],
        );
        assert!(points[0].probability_high <= 0.114 && points[1].probability_low <= 0.114);
    }

    #[test]
    fn what_has_no_sense_is_not_simulated() {
        let of = |plan: SequentialPlan<WaldLines>, spread, mean, samples| {
            plan.operating_characteristic(spread, &[mean], samples, 1)
        };
        assert_eq!(of(plan(), AGGREGATED, 2.0, 0), None);
        assert_eq!(of(plan(), AGGREGATED, -2.0, 9), None);
        assert_eq!(of(plan(), AGGREGATED, f64::NAN, 9), None);
        assert_eq!(
            of(plan(), Spread::NegativeBinomial { k: 0.0 }, 2.0, 9),
            None
        );
        assert_eq!(of(plan(), Spread::Presence { units: 1 }, 1.5, 9), None);
        let never = SequentialPlan {
            units_max: 0,
            ..plan()
        };
        assert_eq!(of(never, AGGREGATED, 2.0, 9), None);
        let idle = SequentialPlan {
            units_min: 0,
            ..plan()
        };
        assert_eq!(of(idle, AGGREGATED, 2.0, 9), None);
    }

    #[test]
    fn percentiles_lie_between_ranks() {
        assert_eq!(percentile(&[3], 0.9), 3.0);
        assert_eq!(percentile(&[1, 2, 3, 4], 0.5), 2.5);
        assert_eq!(percentile(&[0, 10], 0.9), 9.0);
    }
}
