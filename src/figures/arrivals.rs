//! When the visits of each week came in, and so how many of a week's visits are still to come.
//!
//! The moment of a visit is that of the first submission that brought it. Only visits of county-weeks with a public row
//! are counted: a share of all visits gives away how many of the withheld ones are late. A young week has only the
//! counties of which enough came in early, so of earlier weeks those alone are compared. Only shares leave this module.

use std::collections::{BTreeMap, HashSet};

use jiff::civil::Date;
use jiff::tz::TimeZone;
use serde::Deserialize;

use disclosure::public_row::PublicRow;
use scouting::failure::{Cause, Failure, Kind};
use scouting::visit::week::{IsoWeek, Weeks};
use stats::nowcast::reporting_delay::{
    ExpectedCount, FinalAge, NotKnown, WeekArrivals, expect_final_count, records_of_groups,
};
use store::delta::snapshot::Snapshot;
use store::rows::decode;
use store::stages::inputs::Setting;

/// Six weeks after its first day a week counts as complete: our choice. A season is hardly longer from its first
/// eggs to its last treatment, and a week's alert is past use by then.
pub(crate) const FINAL_AGE: FinalAge = FinalAge { days: 42 };
/// How often the range must hold the final number.
const CONFIDENCE: f64 = 0.8;
/// Any number does; it is fixed, so that the same store gives the same page.
const SEED: u64 = 20_260_721;

const ARRIVALS: &str = "
select protocol, observed_on, county_id, arrived_day, count(*) as visits
from (
    select
        visits.protocol as protocol,
        min(visits.observed_on) as observed_on,
        visits.county_id as county_id,
        visits.visit_id as visit_id,
        cast(min(receipts.received_at) as date) as arrived_day
    from visits
    inner join receipts on visits.load_id = receipts.load_id
    group by visits.protocol, visits.iso_week, visits.county_id, visits.visit_id
)
group by protocol, observed_on, county_id, arrived_day
order by protocol, observed_on, county_id, arrived_day";

/// A row of that query.
#[derive(Deserialize)]
struct ArrivalRow<'a> {
    protocol: &'a str,
    #[serde(deserialize_with = "decode::day")]
    observed_on: Date,
    county_id: &'a str,
    #[serde(deserialize_with = "decode::day")]
    arrived_day: Date,
    visits: u64,
}

/// Visits of a county-week: day of arrival and how many.
type CountyArrivals = Vec<(Date, u64)>;

/// Visits by protocol, week, county and day of arrival.
#[derive(Debug, Clone, Default)]
pub(crate) struct Arrivals {
    by_week: BTreeMap<(String, IsoWeek), BTreeMap<String, CountyArrivals>>,
    /// The day of the newest submission.
    today: Option<Date>,
    /// Visits that a county-week needs to have a row.
    visits_least: u64,
    /// The days of each week.
    weeks: Weeks,
}

/// How much of a week had come in by the newest submission.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) enum Arrived {
    /// The week is older than [`FINAL_AGE`].
    InFull,
    /// Shares of the visits expected in the end, 0 to 1.
    InPart {
        /// The share that is expected to be there.
        share: f64,
        /// Lower end of its 80% range.
        low: f64,
        /// Upper end.
        high: f64,
        /// Complete weeks that it is based on.
        complete_weeks: usize,
    },
    /// Nothing can be said.
    NotKnown(NotKnown),
}

impl Arrivals {
    /// Those of a version of the store, in the county-weeks that `shown` has a row of.
    ///
    /// # Errors
    /// A [`Failure`] if the tables cannot be read.
    pub(crate) async fn of(
        snapshot: &Snapshot,
        shown: &[PublicRow],
        setting: &Setting,
    ) -> Result<Arrivals, Failure> {
        let shown: HashSet<(&str, IsoWeek, &str)> = shown
            .iter()
            .filter_map(|row| {
                let week = row.iso_week.parse().ok()?;
                Some((row.place.county()?, week, &*row.protocol))
            })
            .collect();
        let broken = |cause: Cause| Failure::because(Kind::Stage, "arrivals", cause);
        let frame = snapshot.session().sql(ARRIVALS).await;
        let frame = frame.map_err(|error| broken(error.into()))?;
        let batches = frame
            .collect()
            .await
            .map_err(|error| broken(error.into()))?;
        let mut by_week: BTreeMap<_, BTreeMap<String, CountyArrivals>> = BTreeMap::new();
        for batch in &batches {
            let rows: Vec<ArrivalRow<'_>> =
                decode::rows(batch).map_err(|error| broken(error.into()))?;
            for row in rows {
                let week = setting.weeks.of(row.observed_on);
                if !shown.contains(&(row.county_id, week, row.protocol)) {
                    continue;
                }
                by_week
                    .entry((row.protocol.to_owned(), week))
                    .or_default()
                    .entry(row.county_id.to_owned())
                    .or_default()
                    .push((row.arrived_day, row.visits));
            }
        }
        let received_until = snapshot.received_until().await?;
        Ok(Arrivals {
            by_week,
            today: received_until.map(|moment| TimeZone::UTC.to_datetime(moment).date()),
            visits_least: u64::from(setting.rule.min_fields),
            weeks: setting.weeks.clone(),
        })
    }

    /// How much of a week had come in; the weeks before it, of its season and earlier ones, show it.
    pub(crate) fn arrived(&self, week: IsoWeek, protocol: &str) -> Arrived {
        let Some(today) = self.today else {
            return Arrived::NotKnown(NotKnown::NothingArrived);
        };
        let first = |week: IsoWeek| self.weeks.first_day(week);
        let age_days = days_between(first(week), today);
        let of = |week: IsoWeek, counties: &BTreeMap<String, CountyArrivals>| {
            let delays = |days: &CountyArrivals| {
                let delay =
                    |(day, visits): &(Date, u64)| (days_between(first(week), *day), *visits);
                days.iter().map(delay).collect()
            };
            let groups: Vec<Vec<(u32, u64)>> = counties.values().map(delays).collect();
            WeekArrivals {
                age_days: days_between(first(week), today),
                arrived: records_of_groups(&groups, age_days, self.visits_least),
            }
        };
        let mut earlier = Vec::new();
        let mut current = of(week, &BTreeMap::new());
        for ((of_protocol, other), counties) in &self.by_week {
            if of_protocol == protocol && *other == week {
                current = of(week, counties);
            } else if of_protocol == protocol && *other < week {
                earlier.push(of(*other, counties));
            }
        }
        if current.age_days >= FINAL_AGE.days {
            return Arrived::InFull;
        }
        match expect_final_count(&earlier, &current, FINAL_AGE, CONFIDENCE, SEED) {
            Ok(expected) => in_part(&expected),
            Err(reason) => Arrived::NotKnown(reason),
        }
    }
}

fn in_part(expected: &ExpectedCount) -> Arrived {
    let there = expected.arrived as f64;
    Arrived::InPart {
        share: there / expected.expected,
        // Of many in the end, few are there now.
        low: there / expected.high as f64,
        high: there / expected.low as f64,
        complete_weeks: expected.complete_weeks,
    }
}

/// Days from one day to another; none where the other is earlier.
fn days_between(from: Date, to: Date) -> u32 {
    let days = from.until(to).map_or(0, |span| span.get_days());
    u32::try_from(days).unwrap_or_default()
}

#[cfg(test)]
mod tests {
    use jiff::ToSpan;

    use super::*;

    fn week(number: u32) -> IsoWeek {
        format!("2026-W{number:02}").parse().expect("a week")
    }

    fn monday(number: u32) -> Date {
        Weeks::default().first_day(week(number))
    }

    /// Each week has 40 visits on its sixth day and 10 more on its thirteenth.
    fn arrivals(today: Date) -> Arrivals {
        let by_week = (20..=32).map(|number| {
            let monday = monday(number);
            let days = [(5, 40), (12, 10)]
                .map(|(delay, visits)| (monday + i64::from(delay).days(), visits));
            let there = days.into_iter().filter(|(day, _)| *day <= today).collect();
            let counties = [("46013".to_owned(), there)].into();
            (("bsm-eggs".to_owned(), week(number)), counties)
        });
        Arrivals {
            by_week: by_week.collect(),
            today: Some(today),
            visits_least: 3,
            weeks: Weeks::default(),
        }
    }

    #[test]
    fn a_young_week_is_told_by_the_complete_ones_before_it() {
        let today = monday(32) + 6.days();
        let Arrived::InPart {
            share,
            low,
            high,
            complete_weeks,
        } = arrivals(today).arrived(week(32), "bsm-eggs")
        else {
            panic!("seven weeks are complete");
        };
        assert!((share - 0.8).abs() < 1e-9, "{share}");
        assert!(
            low <= share && share <= high && high <= 1.0 && low > 0.6,
            "{low} {high}"
        );
        assert_eq!(complete_weeks, 7);
    }

    #[test]
    fn an_old_week_is_complete_and_too_few_weeks_are_said() {
        let today = monday(32) + 6.days();
        let all = arrivals(today);
        assert_eq!(all.arrived(week(26), "bsm-eggs"), Arrived::InFull);
        let early = monday(24) + 6.days();
        let found = arrivals(early).arrived(week(24), "bsm-eggs");
        assert_eq!(
            found,
            Arrived::NotKnown(NotKnown::TooFewWeeks { complete: 0 })
        );
        assert_eq!(
            all.arrived(week(32), "other"),
            Arrived::NotKnown(NotKnown::TooFewWeeks { complete: 0 })
        );
    }
}
