//! The visits of a version in parts of some seasons each, so that many seasons are rolled up in the memory of one.
//!
//! A week belongs to one season, so county-weeks of different seasons have no visit in common. Only a visit whose
//! revisions lie in several seasons (a day that was corrected across the new year) concerns two parts: all its
//! revisions are in every part, and whoever reads a part takes the rows of its seasons alone.

use std::sync::Arc;

use arrow::array::{AsArray, RecordBatch, StringArray};
use arrow::compute::cast;
use arrow::datatypes::{DataType, Field, Int64Type, Schema};
use datafusion::datasource::MemTable;
use datafusion::error::DataFusionError;

use super::snapshot::{Snapshot, unreadable};
use crate::failure::Failure;

/// The tables that the visits of a part are made of.
pub const BEHIND_VISITS: [&str; 2] = ["every_visit", "wandering_visit"];

/// Seasons that are rolled up at once, ascending.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct SeasonPart {
    /// The ISO week-years.
    pub seasons: Vec<i32>,
    /// Visits whose revisions lie in several seasons, those of other parts too.
    wandering: Vec<String>,
}

/// The seasons of a version, with at most so many rows of visits a part unless one season alone has more.
///
/// # Errors
/// A [`Failure`] if the tables cannot be read.
pub async fn season_parts(
    snapshot: &Snapshot,
    visits_at_once: u64,
) -> Result<Vec<SeasonPart>, Failure> {
    let counted = "select cast(season as bigint) as year, count(*) as visits from visits group by season order by year";
    let mut groups: Vec<(Vec<i32>, u64)> = Vec::new();
    for batch in rows(snapshot, counted).await? {
        let column = |place: usize| batch.column(place).as_primitive::<Int64Type>().values();
        for (season, visits) in column(0).iter().zip(column(1)) {
            let (season, visits) = (*season as i32, visits.unsigned_abs());
            match groups.last_mut() {
                Some((seasons, held)) if *held + visits <= visits_at_once => {
                    seasons.push(season);
                    *held += visits;
                }
                _ => groups.push((vec![season], visits)),
            }
        }
    }
    let wandering = match groups.len() {
        0 | 1 => Vec::new(),
        _ => wandering(snapshot).await?,
    };
    let parts = groups.into_iter().map(|(seasons, _)| SeasonPart {
        seasons,
        wandering: wandering.clone(),
    });
    Ok(parts.collect())
}

/// Leaves of the visits of a snapshot those of a part, and with them the whole of those that wander.
///
/// # Errors
/// A [`Failure`] if the tables cannot be read.
pub async fn keep_part(snapshot: &Snapshot, part: &SeasonPart) -> Result<(), Failure> {
    let failed = |error: DataFusionError| unreadable(&error);
    let session = snapshot.session();
    let every = session.deregister_table("visits").map_err(failed)?;
    let every = every.ok_or_else(|| {
        unreadable(&DataFusionError::Plan(
            "the visits are not registered".to_owned(),
        ))
    })?;
    session
        .register_table(BEHIND_VISITS[0], every)
        .map_err(failed)?;
    let seasons: Vec<String> = part.seasons.iter().map(i32::to_string).collect();
    let seasons = seasons.join(", ");
    let mut query = format!("select * from every_visit where season in ({seasons})");
    if !part.wandering.is_empty() {
        let ids = Arc::new(StringArray::from(part.wandering.clone()));
        let schema = Schema::new(vec![Field::new("visit_id", DataType::Utf8, false)]);
        let batch = RecordBatch::try_new(Arc::new(schema), vec![ids])
            .map_err(|error| failed(DataFusionError::from(error)))?;
        let table = MemTable::try_new(batch.schema(), vec![vec![batch]]).map_err(failed)?;
        session
            .register_table(BEHIND_VISITS[1], Arc::new(table))
            .map_err(failed)?;
        query += &format!(
            " union all select * from every_visit where season not in ({seasons}) \
             and visit_id in (select visit_id from wandering_visit)"
        );
    }
    let part = session.sql(&query).await.map_err(failed)?;
    session
        .register_table("visits", part.into_view())
        .map_err(failed)?;
    Ok(())
}

/// Ids of the visits whose revisions lie in several seasons: corrected ones alone can.
async fn wandering(snapshot: &Snapshot) -> Result<Vec<String>, Failure> {
    let query = "
select visit_id
from visits
where visit_id in (select visit_id from visits where revision > 1)
group by visit_id
having min(season) < max(season)
order by visit_id";
    let mut ids = Vec::new();
    for batch in rows(snapshot, query).await? {
        let column = cast(batch.column(0), &DataType::Utf8)
            .map_err(|error| unreadable(&DataFusionError::from(error)))?;
        ids.extend(
            column
                .as_string::<i32>()
                .iter()
                .flatten()
                .map(str::to_owned),
        );
    }
    Ok(ids)
}

async fn rows(snapshot: &Snapshot, query: &str) -> Result<Vec<RecordBatch>, Failure> {
    let failed = |error: DataFusionError| unreadable(&error);
    let frame = snapshot.session().sql(query).await.map_err(failed)?;
    frame.collect().await.map_err(failed)
}
