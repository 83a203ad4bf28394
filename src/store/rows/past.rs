//! The visits that count, as later ones are compared with them.

use futures::TryStreamExt;
use jiff::civil::Date;
use serde::Deserialize;

use crate::delta::snapshot::Snapshot;
use crate::delta::tables::Store;
use crate::rows::decode;
use crate::rows::query_rows::{stream, unreadable};
use scouting::failure::Failure;

/// What is compared of a visit that was accepted before.
#[derive(Debug, Clone, Copy, Deserialize)]
pub struct PastVisit<'a> {
    /// Identity of the visit.
    pub visit_id: &'a str,
    /// Its revision.
    pub revision: u32,
    /// When its load was received, microseconds since 1970: with the line the order of acceptance.
    pub received_at: i64,
    /// Its line in the submission.
    pub line: i64,
    /// Day of the visit.
    #[serde(deserialize_with = "decode::day")]
    pub observed_on: Date,
    /// ISO week-year.
    pub season: i32,
    /// Pseudonym of the scout.
    pub observer_id: &'a str,
    /// Field ID.
    pub field_id: &'a str,
    /// Who sent it, if it is known.
    pub sender: Option<&'a str>,
    /// Longitude, degrees; this and the latitude are `None` where only the county of the field is known.
    pub lon: Option<f64>,
    /// Latitude, degrees.
    pub lat: Option<f64>,
    /// First place of the crop stage.
    pub stage_first: i32,
    /// Last place of the crop stage.
    pub stage_last: i32,
    /// Id of the protocol.
    pub protocol: &'a str,
    /// All that was counted.
    pub total: i64,
    /// Crop type of the field.
    pub crop_type: &'a str,
    /// ISO 4217 code of both amounts of money; empty if there is none.
    pub currency: &'a str,
    /// Money per hectare; this and what follows is `None` where it was assumed.
    pub treatment_cost_per_ha: Option<f64>,
    /// Money per kilogram.
    pub market_value_per_kg: Option<f64>,
    /// Plants per hectare.
    pub plants_per_ha: Option<f64>,
}

/// As `pipeline/stages/15_current_visit.sql` has it: the highest revision, unless it withdraws the visit.
const CURRENT_VISITS: &str = "with visible as (\
     select visits.*, cast(receipts.received_at as bigint) as received_at \
     from visits inner join receipts on visits.load_id = receipts.load_id\
   ), higher as (\
     select visit_id, revision from visible where revision > 1\
   ) \
   select visit_id, revision, received_at, line, observed_on, season, observer_id, field_id, sender, \
     case when point_from is null then lon end as lon, case when point_from is null then lat end as lat, \
     stage_first, stage_last, protocol, total, crop_type, \
     coalesce(treatment_cost_currency, market_value_currency, '') as currency, \
     case when treatment_cost_amount is not null then treatment_cost_per_ha end as treatment_cost_per_ha, \
     case when market_value_amount is not null then market_value_per_kg end as market_value_per_kg, \
     case when plant_population_count is not null then plants_per_ha end as plants_per_ha \
   from visible where not retracted and not exists (\
     select 1 from higher \
     where higher.visit_id = visible.visit_id and higher.revision > visible.revision)";

/// Goes through the visits that count at the newest version, in no order; they are never all in memory.
pub async fn each_current_visit(
    store: &Store,
    mut take: impl FnMut(PastVisit<'_>),
) -> Result<(), Failure> {
    let snapshot = Snapshot::open(store, 1).await?;
    let mut batches = stream(snapshot.session(), CURRENT_VISITS).await?;
    while let Some(batch) = batches.try_next().await.map_err(unreadable)? {
        let visits = decode::rows(&batch).map_err(unreadable)?;
        visits.into_iter().for_each(&mut take);
    }
    Ok(())
}
