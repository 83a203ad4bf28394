//! The visits of a version in parts of some weeks each, so that many visits are rolled up in the memory of some.
//!
//! Every stage of a roll-up takes each week by itself; what the weeks of a season have in common is known before the
//! first part is rolled up. Only a visit that was
//! corrected to another week would be in two of them: a revision that a higher one of another day supersedes
//! is in none.

use std::sync::Arc;

use arrow::array::RecordBatch;
use arrow::compute::concat_batches;
use datafusion::datasource::MemTable;
use datafusion::error::DataFusionError;
use jiff::civil::Date;
use serde::Deserialize;

use crate::delta::snapshot::Snapshot;
use crate::rows::decode;
use crate::rows::query_rows::{rows, unreadable};
use scouting::failure::Failure;
use scouting::visit::week::{IsoWeek, Weeks};

/// The tables that the visits of a part are made of.
pub(crate) const BEHIND_VISITS: [&str; 2] = ["every_visit", "superseded_elsewhere"];

/// Consecutive weeks that are rolled up at once.
#[derive(Debug, Clone)]
pub struct WeekPart {
    /// The first and the last of them.
    pub weeks: (IsoWeek, IsoWeek),
    /// The first day of the first, and the last of the last.
    pub days: (Date, Date),
    /// Revisions that a higher one of another day supersedes: `visit_id` and `revision`.
    superseded: RecordBatch,
}

/// How many rows of visits a day has.
#[derive(Deserialize)]
struct DayOfVisits {
    #[serde(deserialize_with = "decode::day")]
    observed_on: Date,
    visits: u64,
}

/// The weeks of a version, with at most so many rows of visits a part unless one week alone has more; one part or
/// none if all of them together have no more.
///
/// # Errors
/// A [`Failure`] if the tables cannot be read.
pub async fn week_parts(
    snapshot: &Snapshot,
    weeks: &Weeks,
    visits_at_once: u64,
) -> Result<Vec<WeekPart>, Failure> {
    if snapshot.rows_of_visits()? <= visits_at_once {
        return Ok(Vec::new());
    }
    let superseded = superseded_elsewhere(snapshot).await?;
    let counted = "
select observed_on, count(*) as visits
from visits
group by observed_on
order by observed_on";
    let mut parts: Vec<(WeekPart, u64)> = Vec::new();
    let days: Vec<DayOfVisits> = rows(snapshot.session(), counted).await?;
    for of_week in
        days.chunk_by(|one, next| weeks.of(one.observed_on) == weeks.of(next.observed_on))
    {
        let week = weeks.of(of_week[0].observed_on);
        let visits: u64 = of_week.iter().map(|day| day.visits).sum();
        match parts.last_mut() {
            Some((part, held)) if *held + visits <= visits_at_once => {
                part.weeks.1 = week;
                part.days.1 = weeks.last_day(week);
                *held += visits;
            }
            _ => parts.push((
                WeekPart {
                    weeks: (week, week),
                    days: (weeks.first_day(week), weeks.last_day(week)),
                    superseded: superseded.clone(),
                },
                visits,
            )),
        }
    }
    Ok(parts.into_iter().map(|(part, _)| part).collect())
}

impl WeekPart {
    /// A snapshot of the same version whose visits are those of the part. It has the receipts as well, and no
    /// other table.
    ///
    /// # Errors
    /// A [`Failure`] if the tables cannot be read.
    pub(crate) async fn of(&self, snapshot: &Snapshot) -> Result<Snapshot, Failure> {
        let part = snapshot.with_visits_as(BEHIND_VISITS[0]).await?;
        let session = part.session();
        let (schema, rows) = (self.superseded.schema(), self.superseded.clone());
        let superseded = MemTable::try_new(schema, vec![vec![rows]]).map_err(failed)?;
        session
            .register_table(BEHIND_VISITS[1], Arc::new(superseded))
            .map_err(failed)?;
        let (first, last) = self.days;
        // A file's folder names the ISO week-year of its visits: other folders are not opened.
        let seasons = [first, last].map(|day| IsoWeek::of(day).season());
        let mut query = format!(
            "select * from every_visit where season between {} and {} \
             and observed_on between date '{first}' and date '{last}'",
            seasons[0], seasons[1]
        );
        if self.superseded.num_rows() > 0 {
            query += " and not exists (select 1 from superseded_elsewhere \
                 where superseded_elsewhere.visit_id = every_visit.visit_id \
                 and superseded_elsewhere.revision = every_visit.revision)";
        }
        let visits = session.sql(&query).await.map_err(failed)?;
        session
            .register_table("visits", visits.into_view())
            .map_err(failed)?;
        Ok(part)
    }
}

/// Revisions that a higher one of another day supersedes, in the same week or another: corrected visits alone can have such.
async fn superseded_elsewhere(snapshot: &Snapshot) -> Result<RecordBatch, Failure> {
    let query = "
with corrected as (
    select visit_id, revision, observed_on
    from visits
    where
        load_id in (select load_id from receipts)
        and visit_id in (select visit_id from visits where revision > 1)
)

select lower.visit_id as visit_id, lower.revision as revision
from corrected as lower
inner join corrected as higher on lower.visit_id = higher.visit_id
where lower.revision < higher.revision and lower.observed_on <> higher.observed_on
group by lower.visit_id, lower.revision";
    one_batch(snapshot, query).await
}

/// The rows of a query as one batch.
async fn one_batch(snapshot: &Snapshot, query: &str) -> Result<RecordBatch, Failure> {
    let frame = snapshot.session().sql(query).await.map_err(failed)?;
    let schema = Arc::new(frame.schema().as_arrow().clone());
    let batches = frame.collect().await.map_err(failed)?;
    let schema = batches.first().map_or(schema, |batch| batch.schema());
    concat_batches(&schema, &batches).map_err(|error| failed(error.into()))
}

fn failed(error: DataFusionError) -> Failure {
    unreadable(error)
}
