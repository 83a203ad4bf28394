//! Whether reports paused: days without one that usually are not without one, as on a holiday or while an office is
//! closed. What came before and after such days runs off otherwise than in earlier weeks, so no range can be given.
//!
//! Days count from the first day of a week. A run of days without a report, of this week or an earlier one, is compared
//! with the same days as they were for earlier weeks.

use std::collections::BTreeSet;
use std::ops::RangeInclusive;

/// Earlier weeks that a run of days is compared with at most, the latest ones; and at least.
const WEEKS_MOST: usize = 40;
const WEEKS_LEAST: usize = 6;
/// A run is a pause if at most one of so many earlier weeks had no report on its days either: an office that closes for a
/// week of each season of twelve is still found closed.
const ONE_OF: usize = 8;

/// Days of the longest pause from the first day of a week to this one. Of the week and of the `earlier` ones, the latest
/// first: days with reports of that week or of one before it.
pub(crate) fn longest_pause(
    week: &BTreeSet<u32>,
    earlier: &[BTreeSet<u32>],
    last_day: u32,
) -> Option<u32> {
    let compared = &earlier[..earlier.len().min(WEEKS_MOST)];
    if compared.len() < WEEKS_LEAST {
        return None;
    }
    let is_unusual = |days: &RangeInclusive<u32>| {
        let without = |week: &&BTreeSet<u32>| week.range(days.clone()).next().is_none();
        compared.iter().filter(without).count() * ONE_OF <= compared.len()
    };
    let pauses = runs_without(week, last_day).into_iter().filter(is_unusual);
    pauses.map(|days| days.end() - days.start() + 1).max()
}

/// The runs of days that are not in a set, from 0 to the last.
fn runs_without(week: &BTreeSet<u32>, last_day: u32) -> Vec<RangeInclusive<u32>> {
    let mut runs: Vec<RangeInclusive<u32>> = Vec::new();
    for day in (0..=last_day).filter(|day| !week.contains(day)) {
        match runs.last_mut() {
            Some(run) if *run.end() + 1 == day => *run = *run.start()..=day,
            _ => runs.push(day..=day),
        }
    }
    runs
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Monday to Friday and the Monday after, less some days.
    fn working_days(without: &[u32]) -> BTreeSet<u32> {
        let days = [0, 1, 2, 3, 4, 7].into_iter();
        days.filter(|day| !without.contains(day)).collect()
    }

    #[test]
    fn a_weekend_is_no_pause_and_a_holiday_is_one() {
        let earlier = vec![working_days(&[]); 12];
        let pause = |without: &[u32]| longest_pause(&working_days(without), &earlier, 8);
        assert_eq!(pause(&[]), None);
        assert_eq!(pause(&[2]), Some(1));
        // Thursday and Friday: with the weekend, four days.
        assert_eq!(pause(&[3, 4]), Some(4));
        assert_eq!(pause(&[0, 1, 2, 3, 4]), Some(7));
        // After the days that are asked about.
        assert_eq!(longest_pause(&working_days(&[7]), &earlier, 6), None);
        assert_eq!(longest_pause(&working_days(&[2]), &earlier[..5], 8), None);
    }

    #[test]
    fn where_days_without_reports_are_common_none_is_unusual() {
        // Wednesdays had none in two of ten earlier weeks; in two of thirty.
        let mut earlier = vec![working_days(&[]); 8];
        earlier.extend(vec![working_days(&[2]); 2]);
        assert_eq!(longest_pause(&working_days(&[2]), &earlier, 8), None);
        earlier.extend(vec![working_days(&[]); 20]);
        assert_eq!(longest_pause(&working_days(&[2]), &earlier, 8), Some(1));
    }
}
