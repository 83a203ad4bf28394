//! The counts of one sample as a frequency table: how many units had each count.
//!
//! A unit's count is its total (a head: the eggs on its six bracts). Rates, such as moths a night, are no
//! counts and have no place here: the distributions that are fitted to these tables are of whole numbers.

use std::collections::BTreeMap;

/// How many units of a sample had each count.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct CountFrequencies {
    units_by_count: BTreeMap<u64, u64>,
}

impl CountFrequencies {
    /// The table of a list of counts, one a unit.
    pub fn of_counts(counts: &[u64]) -> CountFrequencies {
        let mut table = CountFrequencies::default();
        for count in counts {
            table.add(*count, 1);
        }
        table
    }

    /// The table as papers print it: the units with a count of 0, of 1, of 2 and so on.
    pub fn of_frequencies(units: &[u64]) -> CountFrequencies {
        let mut table = CountFrequencies::default();
        for (count, units) in (0..).zip(units) {
            table.add(count, *units);
        }
        table
    }

    /// Adds units that all have this count.
    pub fn add(&mut self, count: u64, units: u64) {
        if units > 0 {
            *self.units_by_count.entry(count).or_default() += units;
        }
    }

    /// Adds the units of another sample.
    pub fn add_all(&mut self, other: &CountFrequencies) {
        for (count, units) in other.iter() {
            self.add(count, units);
        }
    }

    /// Counts in rising order, each with the number of its units.
    pub fn iter(&self) -> impl Iterator<Item = (u64, u64)> + '_ {
        self.units_by_count
            .iter()
            .map(|(count, units)| (*count, *units))
    }

    /// Units in all.
    pub fn units(&self) -> u64 {
        self.units_by_count.values().sum()
    }

    /// All that was counted.
    pub fn total(&self) -> u128 {
        self.iter()
            .map(|(count, units)| u128::from(count) * u128::from(units))
            .sum()
    }

    /// Count a unit; `None` without units.
    pub fn mean(&self) -> Option<f64> {
        let units = self.units();
        (units > 0).then(|| self.total() as f64 / units as f64)
    }

    /// Variance of the counts, with `units - 1` degrees of freedom; `None` for fewer than two units.
    pub fn variance(&self) -> Option<f64> {
        let units = self.units();
        let mean = self.mean().filter(|_| units > 1)?;
        // About the mean, not from the sum of squares: huge counts would lose their difference there.
        let squares: f64 = self
            .iter()
            .map(|(count, units)| units as f64 * (count as f64 - mean).powi(2))
            .sum();
        Some(squares / (units - 1) as f64)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_list_and_a_table_of_the_same_counts_are_equal() {
        let list = CountFrequencies::of_counts(&[3, 0, 1, 0, 3]);
        assert_eq!(list, CountFrequencies::of_frequencies(&[2, 1, 0, 2]));
        // By hand: 7 on five units; squares about 1.4: 2·1.96 + 0.16 + 2·2.56 = 9.2.
        assert_eq!((list.units(), list.total()), (5, 7));
        assert_eq!(list.mean(), Some(1.4));
        assert!((list.variance().expect("five units have a variance") - 2.3).abs() < 1e-15);
    }

    #[test]
    fn what_is_not_there_has_no_mean_and_one_unit_no_variance() {
        let none = CountFrequencies::of_counts(&[]);
        assert_eq!(
            (none.units(), none.mean(), none.variance()),
            (0, None, None)
        );
        let one = CountFrequencies::of_counts(&[9]);
        assert_eq!((one.mean(), one.variance()), (Some(9.0), None));
    }

    #[test]
    fn the_largest_counts_do_not_overflow() {
        let huge = CountFrequencies::of_counts(&[u64::MAX, u64::MAX, 0]);
        assert_eq!(huge.total(), 2 * u128::from(u64::MAX));
        assert!(huge.variance().is_some_and(f64::is_finite));
    }

    #[test]
    fn samples_add_up() {
        let mut both = CountFrequencies::of_counts(&[1, 2]);
        both.add_all(&CountFrequencies::of_counts(&[2, 5]));
        assert_eq!(both, CountFrequencies::of_counts(&[1, 2, 2, 5]));
    }
}
