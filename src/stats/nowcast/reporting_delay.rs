//! How complete a young week is: what is still under way, from how earlier weeks came in.
//!
//! Days count from the week's first day, so that a week that is not over yet is young like any other. All
//! weeks are seen at one moment, seven days apart; so the days up to the age of the current week are its first
//! step, and each further step has seven days: whole steps, whatever the day. The ladder and how sure it is:
//! `chain_ladder.rs`. How well the ranges hold is measured in `tests/benches/NOWCAST.md`. It counts what arrives
//! and knows nothing of what it says: late records may differ from early ones.

use std::collections::BTreeSet;

use rand::SeedableRng;
use rand_chacha::ChaCha8Rng;

use crate::nowcast::chain_ladder::RunOff;
use crate::nowcast::reporting_pause::longest_pause;

/// Earlier weeks that must be complete before anything is said: our choice; fewer tell neither the mean nor
/// the scatter of what comes late.
pub const COMPLETE_WEEKS_LEAST: usize = 6;
/// Earlier weeks that teach, the latest with records: our choice. More would scatter less; fewer follow habits
/// of sending that change from season to season.
const WEEKS_BACK: usize = 16;
/// Draws behind a range: its ends are then within about one percent of probability.
const DRAWS: usize = 1_000;
const DAYS_OF_STEP: u32 = 7;

/// What had arrived of a week up to now.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct WeekArrivals {
    /// Days from the week's first day to now: what arrives today has this delay.
    pub age_days: u32,
    /// Records that arrived so many days after the week's first day: (delay in days, records), in any order;
    /// delays beyond the age are in the future and do not count.
    pub arrived: Vec<(u32, u64)>,
}

/// What is expected of a week.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ExpectedCount {
    /// Records that are there.
    pub arrived: u64,
    /// Records that are expected in the end.
    pub expected: f64,
    /// Lower end of the range that holds the final count with the asked probability.
    pub low: u64,
    /// Upper end of the range.
    pub high: u64,
    /// Share of the records of a week that is usually there at this age.
    pub share_arrived: f64,
    /// Complete weeks that it is based on.
    pub complete_weeks: usize,
    /// How much more than chance the arrivals scatter (variance ÷ mean).
    pub dispersion: f64,
}

/// Why nothing can be said of a week.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum NotKnown {
    /// Too few earlier weeks are complete.
    TooFewWeeks {
        /// Earlier weeks with records that are old enough to be complete.
        complete: usize,
    },
    /// Nothing of the week has arrived, and nothing times anything is nothing.
    NothingArrived,
    /// No earlier week had anything at this age.
    TooYoung,
    /// Reports paused since the week began: as on a holiday, or while an office is closed.
    Paused {
        /// Days of the longest pause.
        days: u32,
    },
}

/// A week is complete when it is so old; what comes later is left out of account.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct FinalAge {
    /// Days from the week's first day.
    pub days: u32,
}

/// The final count of the current week from the earlier ones, with the range that holds it with this
/// probability (0.8). The same weeks and seed give the same figures. A week of the final age or older is
/// complete: its count is its expectation.
pub fn expect_final_count(
    earlier: &[WeekArrivals],
    current: &WeekArrivals,
    final_age: FinalAge,
    confidence: f64,
    seed: u64,
) -> Result<ExpectedCount, NotKnown> {
    let arrived = current.records_between(0, current.age_days.min(final_age.days));
    let complete = earlier
        .iter()
        .filter(|week| week.is_complete(final_age))
        .count();
    if current.age_days >= final_age.days {
        return Ok(ExpectedCount {
            arrived,
            expected: arrived as f64,
            low: arrived,
            high: arrived,
            share_arrived: 1.0,
            complete_weeks: complete,
            dispersion: 1.0,
        });
    }
    if complete < COMPLETE_WEEKS_LEAST {
        return Err(NotKnown::TooFewWeeks { complete });
    }
    if arrived == 0 {
        return Err(NotKnown::NothingArrived);
    }
    let mut weeks: Vec<&WeekArrivals> = earlier.iter().chain([current]).collect();
    weeks.sort_by_key(|week| week.age_days);
    let pauses = pauses(&weeks, current.age_days);
    if let Some(days) = pauses[0] {
        return Err(NotKnown::Paused { days });
    }
    // A week with a pause ran off otherwise than this one, unless they are all that there is.
    let usable = weeks.iter().zip(&pauses).skip(1);
    let usable =
        usable.filter(|(week, _)| week.age_days >= current.age_days && week.has_records(final_age));
    let mut recent: Vec<&WeekArrivals> = usable
        .clone()
        .filter(|(_, pause)| pause.is_none())
        .map(|(week, _)| *week)
        .collect();
    if recent.len() < COMPLETE_WEEKS_LEAST {
        recent = usable.map(|(week, _)| *week).collect();
    }
    recent.truncate(WEEKS_BACK);
    let mut rows: Vec<Vec<f64>> = recent
        .iter()
        .map(|week| week.steps(current.age_days, final_age))
        .collect();
    rows.push(vec![arrived as f64]);
    let run_off = RunOff::new(&rows).ok_or(NotKnown::TooYoung)?;
    let dispersion = run_off.dispersion_after_first().unwrap_or(1.0).max(1.0);
    let mut chance = ChaCha8Rng::seed_from_u64(seed);
    let draws = run_off
        .merged()
        .draw_outstanding(dispersion, DRAWS, &mut chance);
    let of_current = draws.iter().filter_map(|rows| rows.last());
    let mut outstanding: Vec<u64> = of_current.map(|records| *records as u64).collect();
    outstanding.sort_unstable();
    let outside = (1.0 - confidence) / 2.0;
    Ok(ExpectedCount {
        arrived,
        expected: arrived as f64 + run_off.outstanding(rows.len() - 1),
        low: arrived + drawn_at(&outstanding, outside),
        high: arrived + drawn_at(&outstanding, 1.0 - outside),
        share_arrived: run_off.share_after(1),
        complete_weeks: complete,
        dispersion,
    })
}

/// Days of the longest pause of reports within so many days of the beginning of each week, the weeks in the order in which
/// they are given, the latest first. Each is taken as it looked when it was as old as its own age or that of the current
/// one: with reports of it and of weeks before it.
fn pauses(weeks: &[&WeekArrivals], current_age: u32) -> Vec<Option<u32>> {
    let with_before = weeks.iter().enumerate().map(|(place, week)| {
        let older = weeks[place..].iter();
        let days = older.flat_map(|older| older.days_of(week.age_days));
        days.filter(|day| *day <= current_age).collect()
    });
    let reports: Vec<BTreeSet<u32>> = with_before.collect();
    (0..weeks.len())
        .map(|place| longest_pause(&reports[place], &reports[place + 1..], current_age))
        .collect()
}

/// Records by delay of those groups of which so many had come by an age: what of a week could be shown then. The groups of
/// a young week are chosen in this way, so those of the weeks that it is compared with have to be.
pub fn records_of_groups(groups: &[Vec<(u32, u64)>], age_days: u32, least: u64) -> Vec<(u32, u64)> {
    let had_enough = |group: &&Vec<(u32, u64)>| {
        let early = group.iter().filter(|(day, _)| *day <= age_days);
        early.map(|(_, records)| records).sum::<u64>() >= least
    };
    groups
        .iter()
        .filter(had_enough)
        .flatten()
        .copied()
        .collect()
}

impl WeekArrivals {
    fn is_complete(&self, final_age: FinalAge) -> bool {
        self.age_days >= final_age.days && self.has_records(final_age)
    }

    /// Days after the first day of a week of another age on which records of this one came.
    fn days_of(&self, age_days: u32) -> impl Iterator<Item = u32> {
        let there = self.arrived.iter().filter(|(_, records)| *records > 0);
        let days_ago = there.filter_map(|(day, _)| self.age_days.checked_sub(*day));
        days_ago.filter_map(move |days_ago| age_days.checked_sub(days_ago))
    }

    fn has_records(&self, final_age: FinalAge) -> bool {
        self.records_between(0, self.age_days.min(final_age.days)) > 0
    }

    /// Records with a delay between these days, both included.
    fn records_between(&self, first_day: u32, last_day: u32) -> u64 {
        let within = self
            .arrived
            .iter()
            .filter(|(day, _)| (first_day..=last_day).contains(day));
        within.map(|(_, records)| records).sum()
    }

    /// Records by step: up to the age of the current week, then seven days each up to the final age; as far
    /// as a step is wholly within the week's own age.
    fn steps(&self, current_age: u32, final_age: FinalAge) -> Vec<f64> {
        let mut steps = vec![self.records_between(0, current_age) as f64];
        let mut done = current_age;
        while done < final_age.days {
            let until = (done + DAYS_OF_STEP).min(final_age.days);
            if until > self.age_days {
                break;
            }
            steps.push(self.records_between(done + 1, until) as f64);
            done = until;
        }
        steps
    }
}

/// The drawn count below or at which this share of the draws is.
fn drawn_at(sorted: &[u64], share: f64) -> u64 {
    let place = (share * sorted.len() as f64).ceil() as usize;
    sorted[place.clamp(1, sorted.len()) - 1]
}

#[cfg(test)]
mod tests {
    use super::*;

    const FINAL: FinalAge = FinalAge { days: 28 };

    /// 60% on day 5, 30% on day 10, 10% on day 17, of a hundred times `size`.
    fn week(age_days: u32, size: u64) -> WeekArrivals {
        let arrived = vec![(5, 60 * size), (10, 30 * size), (17, 10 * size)];
        WeekArrivals { age_days, arrived }
    }

    #[test]
    fn a_steady_course_is_completed() {
        let earlier: Vec<WeekArrivals> = (1..=12)
            .map(|back| week(8 + 7 * back, 1 + u64::from(back % 3)))
            .collect();
        let found =
            expect_final_count(&earlier, &week(8, 2), FINAL, 0.8, 1).expect("complete weeks");
        assert_eq!((found.arrived, found.complete_weeks), (120, 10));
        assert!((found.expected - 200.0).abs() < 1e-9, "{found:?}");
        assert!((found.share_arrived - 0.6).abs() < 1e-12);
        // No more scatter than chance: 80 to come, with a standard deviation of √(80 + 80²/120), 11.5.
        assert_eq!(found.dispersion, 1.0);
        assert!(
            (180..190).contains(&found.low) && (211..221).contains(&found.high),
            "{found:?}"
        );
    }

    #[test]
    fn the_same_weeks_give_the_same_range() {
        let earlier: Vec<WeekArrivals> = (1..=12).map(|back| week(8 + 7 * back, 1)).collect();
        let of_seed = |seed| expect_final_count(&earlier, &week(8, 1), FINAL, 0.8, seed);
        assert_eq!(of_seed(3), of_seed(3));
    }

    #[test]
    fn weeks_that_are_young_themselves_teach_what_they_know() {
        // Only the eldest know the last step; all know the first.
        let earlier: Vec<WeekArrivals> = (1..=9).map(|back| week(3 + 7 * back, 1)).collect();
        let steps = earlier[1].steps(3, FINAL);
        assert_eq!(steps, [0.0, 90.0, 10.0]);
        assert_eq!(week(60, 1).steps(8, FINAL), [60.0, 30.0, 10.0, 0.0]);
        let first = expect_final_count(&earlier, &week(3, 1), FINAL, 0.8, 1);
        assert_eq!(first, Err(NotKnown::NothingArrived));
    }

    #[test]
    fn why_nothing_is_known() {
        let few: Vec<WeekArrivals> = (3..8).map(|back| week(8 + 7 * back, 1)).collect();
        let known = |earlier: &[WeekArrivals], current: &WeekArrivals| {
            expect_final_count(earlier, current, FINAL, 0.8, 1)
        };
        assert_eq!(
            known(&few, &week(8, 1)),
            Err(NotKnown::TooFewWeeks { complete: 5 })
        );
        let enough: Vec<WeekArrivals> = (3..12).map(|back| week(8 + 7 * back, 1)).collect();
        let none = WeekArrivals {
            age_days: 8,
            arrived: vec![],
        };
        assert_eq!(known(&enough, &none), Err(NotKnown::NothingArrived));
        let early = WeekArrivals {
            age_days: 2,
            arrived: vec![(1, 4)],
        };
        assert_eq!(known(&enough, &early), Err(NotKnown::TooYoung));
        // Weeks in which nobody scouted are no evidence.
        let empty = vec![
            WeekArrivals {
                age_days: 90,
                arrived: vec![]
            };
            20
        ];
        assert_eq!(
            known(&empty, &week(8, 1)),
            Err(NotKnown::TooFewWeeks { complete: 0 })
        );
    }

    #[test]
    fn a_closed_office_is_no_habit() {
        // Every week has records on each of its days, the current one none on its last two.
        let daily = |age_days: u32, until: u32| WeekArrivals {
            age_days,
            arrived: (0..=until).map(|day| (day, 10)).collect(),
        };
        let earlier: Vec<WeekArrivals> = (1..=12).map(|back| daily(8 + 7 * back, 8)).collect();
        let known = |until| expect_final_count(&earlier, &daily(8, until), FINAL, 0.8, 1);
        assert!(known(8).is_ok());
        assert_eq!(known(6), Err(NotKnown::Paused { days: 2 }));
    }

    #[test]
    fn groups_that_came_late_are_left_out_of_earlier_weeks_too() {
        let groups = [vec![(1, 3), (9, 2)], vec![(2, 2), (8, 1)], vec![]];
        assert_eq!(records_of_groups(&groups, 4, 3), [(1, 3), (9, 2)]);
        assert_eq!(records_of_groups(&groups, 8, 3).len(), 4);
    }

    #[test]
    fn an_old_week_is_what_it_is() {
        let found = expect_final_count(&[], &week(28, 3), FINAL, 0.8, 1).expect("it is complete");
        assert_eq!((found.low, found.expected, found.high), (300, 300.0, 300));
        assert_eq!(found.share_arrived, 1.0);
    }

    #[test]
    fn what_has_not_come_yet_does_not_count() {
        assert_eq!(week(5, 1).records_between(0, 5), 60);
        let found = expect_final_count(&[], &week(40, 1), FinalAge { days: 10 }, 0.8, 1);
        assert_eq!(found.expect("it is complete").arrived, 90);
    }
}
