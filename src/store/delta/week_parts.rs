//! The visits of a version in parts of some weeks each, so that many visits are rolled up in the memory of some.
//!
//! Every stage of a roll-up takes each week by itself; what the weeks of a season have in common is known before the
//! first part is rolled up. Only a visit that was
//! corrected to another week would be in two of them: a revision that a higher one in another week supersedes
//! is in none.

use std::sync::Arc;

use arrow::array::RecordBatch;
use arrow::compute::concat_batches;
use datafusion::datasource::MemTable;
use datafusion::error::DataFusionError;
use serde::Deserialize;

use crate::delta::snapshot::Snapshot;
use crate::rows::query_rows::{rows, unreadable};
use scouting::failure::Failure;

/// The tables that the visits of a part are made of.
pub(crate) const BEHIND_VISITS: [&str; 2] = ["every_visit", "superseded_elsewhere"];

/// Consecutive weeks that are rolled up at once.
#[derive(Debug, Clone)]
pub struct WeekPart {
    /// The first and the last of their seasons, ISO week-years.
    pub seasons: (i32, i32),
    /// The first and the last of them, as `2026-W30`.
    pub weeks: (String, String),
    /// Revisions that a higher one in another week supersedes: `visit_id` and `revision`.
    superseded: RecordBatch,
}

/// How many rows of visits a week has.
#[derive(Deserialize)]
struct WeekOfVisits {
    iso_week: String,
    season: i32,
    visits: u64,
}

/// The weeks of a version, with at most so many rows of visits a part unless one week alone has more; one part or
/// none if all of them together have no more.
///
/// # Errors
/// A [`Failure`] if the tables cannot be read.
pub async fn week_parts(
    snapshot: &Snapshot,
    visits_at_once: u64,
) -> Result<Vec<WeekPart>, Failure> {
    if snapshot.rows_of_visits()? <= visits_at_once {
        return Ok(Vec::new());
    }
    let superseded = superseded_elsewhere(snapshot).await?;
    let counted = "
select iso_week, season, count(*) as visits
from visits
group by iso_week, season
order by iso_week";
    let mut parts: Vec<(WeekPart, u64)> = Vec::new();
    let weeks: Vec<WeekOfVisits> = rows(snapshot.session(), counted).await?;
    for week in weeks {
        match parts.last_mut() {
            Some((part, held)) if *held + week.visits <= visits_at_once => {
                part.seasons.1 = week.season;
                part.weeks.1 = week.iso_week;
                *held += week.visits;
            }
            _ => parts.push((
                WeekPart {
                    seasons: (week.season, week.season),
                    weeks: (week.iso_week.clone(), week.iso_week),
                    superseded: superseded.clone(),
                },
                week.visits,
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
        let ((first_season, last_season), (first, last)) = (self.seasons, &self.weeks);
        // Weeks are ours: digits, a dash and a W.
        let mut query = format!(
            "select * from every_visit where season between {first_season} and {last_season} \
             and iso_week between '{first}' and '{last}'"
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

/// Revisions that a higher one in another week supersedes: corrected visits alone can have such.
async fn superseded_elsewhere(snapshot: &Snapshot) -> Result<RecordBatch, Failure> {
    let query = "
with corrected as (
    select visit_id, revision, iso_week
    from visits
    where
        load_id in (select load_id from receipts)
        and visit_id in (select visit_id from visits where revision > 1)
)

select lower.visit_id as visit_id, lower.revision as revision
from corrected as lower
inner join corrected as higher on lower.visit_id = higher.visit_id
where lower.revision < higher.revision and lower.iso_week <> higher.iso_week
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
