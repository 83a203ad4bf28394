//! How sure a field's figure is: Student's interval of the two-stage mean, and the probability that the
//! field's true mean is at or above a threshold.
//!
//! Sites are the primary units (Cochran, W.G. 1977, Sampling Techniques, 3rd ed., chapter 10; from
//! memory): the standard error is based on the site means, with `sites − 1` degrees of freedom. How well the
//! interval does on skewed counts and few sites is measured in `tests/benches/INTERVALS.md`.

use statrs::distribution::{ContinuousCDF, StudentsT};

use crate::solve::bisection::fall_to_zero;

/// A field's mean with its standard error.
///
/// A standard error of 0, all site means alike, is taken at its word: the interval is the mean itself and
/// a probability is 0 or 1, the limits for ever smaller errors. In practice these are the fields with
/// nothing at any site. It says that the sample saw no differences, not that the field has none: where a
/// few units were looked at, say so as well.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct FieldMean {
    mean: f64,
    standard_error: f64,
    sites: u32,
}

/// An interval in which the true value is thought to be, both ends within it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Interval {
    /// Lower end.
    pub low: f64,
    /// Upper end.
    pub high: f64,
}

impl Interval {
    /// Whether a value is within, its ends included.
    pub fn covers(&self, value: f64) -> bool {
        self.low <= value && value <= self.high
    }
}

/// From so many sites on t is taken as normal, from which it differs by less than 3e-6.
const SITES_OF_NORMAL: u32 = 1_000_000;

impl FieldMean {
    /// A field's mean of its site means, its standard error (sd of the site means ÷ √sites, in the same
    /// unit) and the number of sites. `None` for fewer than two sites, without a standard error, or where
    /// either is below 0 or no number.
    pub fn new(field_mean: f64, standard_error: Option<f64>, sites: u32) -> Option<FieldMean> {
        let standard_error = standard_error?;
        let usable = |value: f64| value.is_finite() && value >= 0.0;
        (sites > 1 && usable(field_mean) && usable(standard_error)).then_some(FieldMean {
            mean: field_mean,
            standard_error,
            sites,
        })
    }

    /// Student's interval that holds the true mean with this probability (0.95). The lower end is not
    /// below 0, which no count is. `None` unless the probability is between 0 and 1.
    pub fn interval(&self, confidence: f64) -> Option<Interval> {
        Some(self.interval_of(steps_of(confidence, self.sites)?))
    }

    /// The interval that reaches so many standard errors to both sides.
    fn interval_of(&self, steps: f64) -> Interval {
        let half = steps * self.standard_error;
        Interval {
            low: (self.mean - half).max(0.0),
            high: self.mean + half,
        }
    }

    /// Student's interval of the logarithm of the mean, with standard error ÷ mean as its error: as far up
    /// as down in proportion. It is the one that is published: on the skewed counts of insects it holds what
    /// it promises, where the interval about the mean itself ends too low too often (`tests/benches/INTERVALS.md`).
    /// `None` as for the interval, and for a mean of 0.
    pub fn interval_in_proportion(&self, confidence: f64) -> Option<Interval> {
        self.in_proportion(steps_of(confidence, self.sites)?)
    }

    /// The interval that is published, of [`steps_of`]: in proportion, or, where nothing was found and there
    /// is no logarithm, the interval about the mean.
    pub fn interval_published(&self, steps: f64) -> Interval {
        self.in_proportion(steps)
            .unwrap_or_else(|| self.interval_of(steps))
    }

    fn in_proportion(&self, steps: f64) -> Option<Interval> {
        let half = self.interval_of(steps).high - self.mean;
        let factor = (half / self.mean).exp();
        let (low, high) = (self.mean / factor, self.mean * factor);
        (self.mean > 0.0 && high.is_finite()).then_some(Interval { low, high })
    }

    /// The probability that the true mean is at or above a threshold: of Student's t about the field mean
    /// in steps of the standard error. In the words of statistics it is a confidence, one minus the
    /// one-sided p-value; it takes nothing for granted about the field before the visit. `None` for a
    /// threshold that is no number.
    pub fn probability_at_or_above(&self, threshold: f64) -> Option<f64> {
        if threshold.is_nan() {
            return None;
        }
        if self.standard_error == 0.0 {
            return Some(if self.mean >= threshold { 1.0 } else { 0.0 });
        }
        let steps = (threshold - self.mean) / self.standard_error;
        if steps.is_infinite() {
            return Some(if steps > 0.0 { 0.0 } else { 1.0 });
        }
        Some(self.student()?.sf(steps))
    }

    /// The probability that the true mean is at or above a threshold, by the same t of the logarithm: it is
    /// 2.5% where the threshold is at the upper end of the interval in proportion. `None` for a threshold
    /// or a mean that is not above 0.
    pub fn probability_in_proportion(&self, threshold: f64) -> Option<f64> {
        if !(threshold > 0.0 && self.mean > 0.0) {
            return None;
        }
        if self.standard_error == 0.0 {
            return self.probability_at_or_above(threshold);
        }
        let steps = (threshold / self.mean).ln() / (self.standard_error / self.mean);
        Some(self.student()?.sf(steps))
    }

    fn student(&self) -> Option<StudentsT> {
        student(self.sites)
    }
}

/// How many standard errors an interval reaches to both sides, to hold the true mean with this probability:
/// the same for every field with so many sites. `None` unless the probability is between 0 and 1.
pub fn steps_of(confidence: f64, sites: u32) -> Option<f64> {
    if !(confidence > 0.0 && confidence < 1.0) {
        return None;
    }
    let exceeded = (1.0 - confidence) / 2.0;
    let student = student(sites)?;
    // The library's own inverse loses its digits from some 100,000 degrees of freedom on and does not end
    // for the largest.
    Some(fall_to_zero(|t| student.sf(t) - exceeded, 1e-20, 1e20))
}

/// Student's distribution with the degrees of freedom of so many sites; `None` for a single one.
fn student(sites: u32) -> Option<StudentsT> {
    let freedom = if sites > SITES_OF_NORMAL {
        f64::INFINITY
    } else {
        f64::from(sites.checked_sub(1)?)
    };
    StudentsT::new(0.0, 1.0, freedom).ok()
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    fn field(mean: f64, standard_error: f64, sites: u32) -> FieldMean {
        FieldMean::new(mean, Some(standard_error), sites).expect("a mean of several sites")
    }

    #[test]
    fn the_tables_of_student() {
        // Two-sided 5 % points of t, from memory (Fisher & Yates, Statistical Tables, table III).
        for (sites, point) in [
            (2, 12.706),
            (3, 4.303),
            (4, 3.182),
            (5, 2.776),
            (9, 2.306),
            (17, 2.120),
            (31, 2.042),
            (121, 1.980),
        ] {
            let interval = field(100.0, 1.0, sites).interval(0.95).expect("0.95");
            assert!(
                (interval.high - 100.0 - point).abs() < 5e-4,
                "{sites} sites"
            );
            assert!((interval.low + interval.high - 200.0).abs() < 1e-9);
            let at_the_end = field(100.0, 1.0, sites).probability_at_or_above(interval.high);
            assert!((at_the_end.expect("a number") - 0.025).abs() < 1e-9);
        }
    }

    #[test]
    fn any_number_of_sites_has_its_t() {
        // Near the normal 1.959964 (from memory) by its expansion z + (z³ + z)/4ν.
        for sites in [10_001, 100_001, 1_000_000, 1_000_001, u32::MAX] {
            let interval = field(100.0, 1.0, sites).interval(0.95).expect("0.95");
            let z = 1.959_964_f64;
            let expected = z + (z.powi(3) + z) / 4.0 / f64::from(sites - 1);
            assert!((interval.high - 100.0 - expected).abs() < 4e-6, "{sites}");
        }
    }

    #[test]
    fn two_sites_are_cauchys_distribution() {
        // One degree of freedom: P(t ≥ 1) = 1/4, by hand.
        let probability = field(2.0, 0.5, 2)
            .probability_at_or_above(2.5)
            .expect("a number");
        assert!((probability - 0.25).abs() < 1e-12);
        let probability = field(2.0, 0.5, 2)
            .probability_at_or_above(1.5)
            .expect("a number");
        assert!((probability - 0.75).abs() < 1e-12);
    }

    #[test]
    fn the_lower_end_is_not_below_nothing() {
        let interval = field(1.0, 0.5, 2).interval(0.95).expect("0.95");
        assert_eq!(interval.low, 0.0);
        assert!(interval.high > 7.0);
    }

    #[test]
    fn an_interval_in_proportion_goes_as_far_up_as_down() {
        // t 3.182446 (four sites; from memory): 2·e^(±3.182446·0.5/2).
        let interval = field(2.0, 0.5, 4)
            .interval_in_proportion(0.95)
            .expect("above 0");
        assert!((interval.high - 2.0 * 0.795_611_5_f64.exp()).abs() < 1e-5);
        assert!((interval.low * interval.high - 4.0).abs() < 1e-12);
        assert_eq!(field(0.0, 0.0, 4).interval_in_proportion(0.95), None);
        assert_eq!(field(2.0, 0.5, 4).interval_in_proportion(0.0), None);
        // Two sites of a trillion and of nothing: no number is large enough.
        assert_eq!(field(1.0, 1e4, 2).interval_in_proportion(0.95), None);
    }

    #[test]
    fn the_probability_in_proportion_is_that_of_its_interval() {
        let sample = field(2.0, 0.5, 4);
        let interval = sample.interval_in_proportion(0.95).expect("above 0");
        for (threshold, expected) in [(interval.low, 0.975), (2.0, 0.5), (interval.high, 0.025)] {
            let found = sample
                .probability_in_proportion(threshold)
                .expect("above 0");
            assert!((found - expected).abs() < 1e-9, "{threshold}: {found}");
        }
        assert_eq!(sample.probability_in_proportion(0.0), None);
        assert_eq!(field(0.0, 0.0, 4).probability_in_proportion(1.0), None);
        assert_eq!(field(2.0, 0.0, 4).probability_in_proportion(1.0), Some(1.0));
    }

    #[test]
    fn one_site_has_no_interval() {
        assert_eq!(FieldMean::new(3.0, None, 1), None);
        assert_eq!(FieldMean::new(3.0, Some(0.5), 1), None);
        assert_eq!(FieldMean::new(3.0, Some(0.5), 0), None);
        assert_eq!(FieldMean::new(f64::NAN, Some(0.5), 4), None);
        assert_eq!(FieldMean::new(3.0, Some(f64::INFINITY), 4), None);
        assert_eq!(FieldMean::new(-1.0, Some(0.5), 4), None);
    }

    #[test]
    fn sites_that_are_all_alike_are_taken_at_their_word() {
        let nothing = field(0.0, 0.0, 8);
        assert_eq!(
            nothing.interval(0.95),
            Some(Interval {
                low: 0.0,
                high: 0.0
            })
        );
        assert_eq!(nothing.probability_at_or_above(3.2), Some(0.0));
        let alike = field(3.2, 0.0, 8);
        assert_eq!(alike.probability_at_or_above(3.2), Some(1.0));
        assert!(alike.interval(0.95).expect("0.95").covers(3.2));
        assert_eq!(alike.probability_at_or_above(3.3), Some(0.0));
    }

    #[test]
    fn an_interval_covers_what_is_between_its_ends() {
        // Half a width of 3.182 · 0.25 = 0.796 (four sites; t from memory).
        for (threshold, near) in [(2.1, false), (2.3, true), (3.7, true), (3.9, false)] {
            let interval = field(3.0, 0.25, 4).interval(0.95).expect("0.95");
            assert_eq!(interval.covers(threshold), near, "{threshold}");
        }
    }

    #[test]
    fn what_is_no_number_has_no_answer() {
        let field = field(3.0, 0.25, 4);
        assert_eq!(field.probability_at_or_above(f64::NAN), None);
        for confidence in [0.0, 1.0, -0.5, 95.0, f64::NAN] {
            assert_eq!(field.interval(confidence), None);
        }
        assert_eq!(field.probability_at_or_above(f64::INFINITY), Some(0.0));
        assert_eq!(field.probability_at_or_above(f64::NEG_INFINITY), Some(1.0));
    }

    proptest! {
        #[test]
        fn other_units_change_no_probability(
            mean in 0.0..50.0f64, error in 0.001..10.0f64, sites in 2u32..60,
            threshold in 0.0..50.0f64, factor in 0.01..100.0f64,
        ) {
            // Pressure is the mean in units of the threshold.
            let plain = field(mean, error, sites);
            let scaled = field(mean * factor, error * factor, sites);
            let one = plain.probability_at_or_above(threshold).expect("a number");
            let other = scaled.probability_at_or_above(threshold * factor).expect("a number");
            prop_assert!((one - other).abs() < 1e-9);
            prop_assert!((0.0..=1.0).contains(&one));
            let one = plain.interval(0.95).expect("0.95");
            let other = scaled.interval(0.95).expect("0.95");
            prop_assert!((one.high * factor - other.high).abs() <= 1e-9 * other.high);
        }

        #[test]
        fn the_interval_and_the_probability_agree(
            mean in 0.5..50.0f64, error in 0.01..5.0f64, sites in 2u32..60, threshold in 0.1..60.0f64,
        ) {
            let field = field(mean, error, sites);
            let probability = field.probability_at_or_above(threshold).expect("a number");
            prop_assume!((probability - 0.025).abs() > 1e-9 && (probability - 0.975).abs() > 1e-9);
            let near = field.interval(0.95).expect("0.95").covers(threshold);
            prop_assert_eq!(near, (0.025..0.975).contains(&probability));
        }

        #[test]
        fn a_higher_threshold_is_never_more_probable(
            mean in 0.0..50.0f64, error in 0.0..5.0f64, sites in 2u32..60,
            low in 0.0..50.0f64, step in 0.0..10.0f64,
        ) {
            let field = field(mean, error, sites);
            let at_low = field.probability_at_or_above(low).expect("a number");
            let at_high = field.probability_at_or_above(low + step).expect("a number");
            prop_assert!(at_high <= at_low + 1e-12);
        }
    }
}
