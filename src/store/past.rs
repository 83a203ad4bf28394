//! The visits that count, as later ones are compared with them.

use std::sync::Arc;

use arrow::array::{
    Array, AsArray, Float64Array, Int32Array, Int64Array, RecordBatch, StringArray,
};
use arrow::compute::cast;
use arrow::datatypes::{DataType, Float64Type, Int32Type, Int64Type};
use futures::TryStreamExt;
use jiff::ToSpan;
use jiff::civil::{Date, date};

use super::snapshot::{Snapshot, unreadable};
use super::tables::Store;
use crate::failure::Failure;

/// What is compared of a visit that was accepted before.
#[derive(Debug, Clone, Copy)]
pub struct PastVisit<'a> {
    /// Identity of the visit.
    pub visit_id: &'a str,
    /// Its revision.
    pub revision: u32,
    /// When its load was received, microseconds since 1970, and its line: the order of acceptance.
    pub accepted: (i64, i64),
    /// Day of the visit.
    pub observed_on: Date,
    /// ISO week-year.
    pub season: i32,
    /// Pseudonym of the scout.
    pub observer_id: &'a str,
    /// Pseudonym of the field.
    pub field_id: &'a str,
    /// Longitude, degrees.
    pub lon: f64,
    /// Latitude, degrees.
    pub lat: f64,
    /// First and last place of the crop stage.
    pub stage_places: (i32, i32),
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
   select visit_id, observer_id, field_id, crop_type, \
     coalesce(treatment_cost_currency, market_value_currency, ''), revision, \
     date_part('epoch', observed_on) / 86400, season, stage_first, stage_last, received_at, line, \
     lon, lat, case when treatment_cost_amount is not null then treatment_cost_per_ha end, \
     case when market_value_amount is not null then market_value_per_kg end, \
     case when plant_population_count is not null then plants_per_ha end \
   from visible where not retracted and not exists (\
     select 1 from higher \
     where higher.visit_id = visible.visit_id and higher.revision > visible.revision)";

/// Goes through the visits that count at the newest version, in no order; they are never all in memory.
pub async fn each_current_visit(
    store: &Store,
    mut take: impl FnMut(PastVisit<'_>),
) -> Result<(), Failure> {
    let snapshot = Snapshot::open(store, 1).await?;
    let plan = snapshot
        .session()
        .sql(CURRENT_VISITS)
        .await
        .map_err(|error| unreadable(&error))?;
    let mut stream = plan
        .execute_stream()
        .await
        .map_err(|error| unreadable(&error))?;
    while let Some(batch) = stream
        .try_next()
        .await
        .map_err(|error| unreadable(&error))?
    {
        let columns = Columns::of(&batch);
        for row in 0..batch.num_rows() {
            take(columns.row(row));
        }
    }
    Ok(())
}

/// The columns of a batch, whichever way the engine holds them.
struct Columns {
    texts: [StringArray; 5],
    wholes: [Int32Array; 5],
    accepted: [Int64Array; 2],
    numbers: [Float64Array; 5],
}

impl Columns {
    fn of(batch: &RecordBatch) -> Columns {
        let column = |place: usize, wanted: &DataType| -> Arc<dyn Array> {
            cast(batch.column(place), wanted).expect("a column is cast to its own kind")
        };
        let whole = |place| {
            column(place, &DataType::Int32)
                .as_primitive::<Int32Type>()
                .clone()
        };
        let long = |place| {
            column(place, &DataType::Int64)
                .as_primitive::<Int64Type>()
                .clone()
        };
        let number = |place| {
            let column = column(place, &DataType::Float64);
            column.as_primitive::<Float64Type>().clone()
        };
        Columns {
            texts: [0, 1, 2, 3, 4]
                .map(|place| column(place, &DataType::Utf8).as_string::<i32>().clone()),
            wholes: [5, 6, 7, 8, 9].map(whole),
            accepted: [10, 11].map(long),
            numbers: [12, 13, 14, 15, 16].map(number),
        }
    }

    fn row(&self, row: usize) -> PastVisit<'_> {
        let [visit_id, observer_id, field_id, crop_type, currency] =
            self.texts.each_ref().map(|texts| texts.value(row));
        let [revision, day, season, stage_first, stage_last] =
            self.wholes.each_ref().map(|wholes| wholes.value(row));
        let [lon, lat, ..] = self.numbers.each_ref().map(|numbers| numbers.value(row));
        let [
            _,
            _,
            treatment_cost_per_ha,
            market_value_per_kg,
            plants_per_ha,
        ] = self
            .numbers
            .each_ref()
            .map(|numbers| numbers.is_valid(row).then(|| numbers.value(row)));
        PastVisit {
            visit_id,
            revision: revision as u32,
            accepted: (self.accepted[0].value(row), self.accepted[1].value(row)),
            observed_on: date(1970, 1, 1).saturating_add(day.days()),
            season,
            observer_id,
            field_id,
            lon,
            lat,
            stage_places: (stage_first, stage_last),
            crop_type,
            currency,
            treatment_cost_per_ha,
            market_value_per_kg,
            plants_per_ha,
        }
    }
}
