//! The tables that stages read in addition to the store: settings, counties, stage windows, thresholds.
//!
//! Those that are computed of a stage's own rows have a file each: certainty, windows, smoothing, clustering.

use std::collections::BTreeMap;
use std::sync::Arc;

use arrow::array::{ArrayRef, AsArray, Date32Array, Int32Array, RecordBatch, StringArray};
use arrow::datatypes::Float64Type;
use datafusion::error::DataFusionError;
use datafusion::prelude::SessionContext;
use serde::Deserialize;

use disclosure::rule::Rule;
use scouting::failure::{Failure, Kind};
use scouting::protocol::catalogue::Catalogue;
use scouting::protocol::threshold::visit_threshold_sql;
use scouting::region::point_grid::GridWidth;
use scouting::visit::week::{IsoWeek, Weeks};

use crate::rows::query_rows::one_row;
use crate::stages::computed::windows::{Weather, day_since_epoch};
use crate::stages::engine::{Engine, Parts};
use crate::stages::stage_rows::rows_of;

/// What the stages need in addition to the store.
#[derive(Debug, Clone)]
pub struct Setting {
    /// What is shown of how many fields.
    pub rule: Rule,
    /// The district of each county that has one.
    pub districts: BTreeMap<String, String>,
    /// The days of each week.
    pub weeks: Weeks,
    /// Width of the grid of published points.
    pub point_grid: GridWidth,
    /// Every county of the region.
    pub counties: Vec<RegionCounty>,
    /// Temperatures that the days of treatment are based on; none are needed.
    pub weather: Weather,
    /// The probability from which on a field is called at or below its threshold, above 0.5 and below 1.
    pub certainty: f64,
}

impl Setting {
    /// The counties that touch each county, as places in the list of counties.
    pub(crate) fn neighbors(&self) -> Vec<Vec<usize>> {
        let counties = self.counties.iter();
        counties.map(|county| county.neighbors.clone()).collect()
    }
}

/// A county of the region.
#[derive(Debug, Clone)]
pub struct RegionCounty {
    /// Identity within the region.
    pub id: String,
    /// The name that people know it by.
    pub name: String,
    /// The counties that touch it, as places in the list.
    pub neighbors: Vec<usize>,
}

/// Keeps `county`, `protocol_window` and `named_day`.
pub(crate) async fn keep_setting(
    engine: Engine<'_>,
    catalogue: &Catalogue,
    setting: &Setting,
) -> Result<(), Failure> {
    let text = |values: Vec<&str>| Arc::new(StringArray::from(values)) as ArrayRef;
    let whole = |values: Vec<i32>| Arc::new(Int32Array::from(values)) as ArrayRef;
    keep_counties(engine, setting).await?;
    keep_named_days(engine, &setting.weeks).await?;
    let windows: Vec<(&str, (i32, i32), i32)> = catalogue
        .protocols()
        .filter_map(|protocol| {
            let days = i32::from(protocol.after_treatment_days());
            Some((protocol.id.as_str(), protocol.window()?, days))
        })
        .collect();
    let tables = [(
        "protocol_window",
        vec![
            (
                "protocol",
                text(windows.iter().map(|(id, ..)| *id).collect()),
            ),
            (
                "stage_first",
                whole(windows.iter().map(|(_, (first, _), _)| *first).collect()),
            ),
            (
                "stage_last",
                whole(windows.iter().map(|(_, (_, last), _)| *last).collect()),
            ),
            (
                "after_treatment_days",
                whole(windows.iter().map(|(.., days)| *days).collect()),
            ),
        ],
    )];
    for (name, columns) in tables {
        let batch = table_of(columns)?;
        let schema = batch.schema();
        engine.keep(name, schema, vec![vec![batch]]).await?;
    }
    Ok(())
}

/// First and last day of the visits.
#[derive(Deserialize)]
struct DaysOfVisits {
    first: Option<i32>,
    last: Option<i32>,
}

/// Keeps `named_day`: the days of the visits whose week has another name than the ISO week of the day; none where weeks
/// start on Monday.
async fn keep_named_days(engine: Engine<'_>, weeks: &Weeks) -> Result<(), Failure> {
    let mut named: Vec<(i32, String)> = Vec::new();
    if !weeks.are_iso_weeks() {
        let query = "select cast(min(observed_on) as int) as first, cast(max(observed_on) as int) as last from visits";
        let days: DaysOfVisits = one_row(engine.session(), query).await?;
        for number in days
            .first
            .into_iter()
            .zip(days.last)
            .flat_map(|(first, last)| first..=last)
        {
            let day = day_since_epoch(number);
            let week = weeks.of(day);
            if week != IsoWeek::of(day) {
                named.push((number, week.to_string()));
            }
        }
    }
    let days = Date32Array::from_iter_values(named.iter().map(|(number, _)| *number));
    let names = StringArray::from_iter_values(named.iter().map(|(_, week)| week));
    let batch = table_of(vec![
        ("observed_on", Arc::new(days) as ArrayRef),
        ("iso_week", Arc::new(names)),
    ])?;
    engine
        .keep("named_day", batch.schema(), vec![vec![batch]])
        .await
}

/// Keeps `county`.
pub(crate) async fn keep_counties(engine: Engine<'_>, setting: &Setting) -> Result<(), Failure> {
    let counties = setting.counties.iter();
    let text = |values: Vec<&str>| Arc::new(StringArray::from(values)) as ArrayRef;
    let batch = table_of(vec![
        (
            "county_id",
            text(counties.clone().map(|county| &*county.id).collect()),
        ),
        (
            "county_name",
            text(counties.clone().map(|county| &*county.name).collect()),
        ),
        (
            "district",
            Arc::new(
                counties
                    .map(|county| setting.districts.get(&county.id))
                    .collect::<StringArray>(),
            ),
        ),
    ])?;
    engine
        .keep("county", batch.schema(), vec![vec![batch]])
        .await
}

#[derive(Deserialize)]
struct ProtocolRow<'a> {
    protocol: &'a str,
}

/// A visit whose protocol left the catalog has no threshold: it is named, not passed over.
pub(crate) async fn protocols_known(
    session: &SessionContext,
    catalogue: &Catalogue,
) -> Result<(), Failure> {
    let failed = |error: DataFusionError| {
        Failure::because(
            Kind::Stage,
            "cannot read the protocols of the visits",
            error,
        )
    };
    let query = "select distinct protocol from current_visit order by protocol";
    let batches = session
        .sql(query)
        .await
        .map_err(failed)?
        .collect()
        .await
        .map_err(failed)?;
    for batch in &batches {
        let rows: Vec<ProtocolRow<'_>> = rows_of(batch, "current_visit")?;
        let mut names = rows.iter().map(|row| row.protocol);
        if let Some(lost) = names.find(|name| catalogue.protocol(name).is_none()) {
            return Err(Failure::new(
                Kind::Protocol,
                format!(
                    "the store has visits under the protocol {lost:?}, which is not in the catalog"
                ),
            )
            .at(format!("the catalog has {}", catalogue.ids()))
            .mend("put its file back into the workspace's folder protocols"));
        }
    }
    Ok(())
}

/// The table `visit_threshold`: `current_visit` with the threshold of each field; and how many visits have none.
pub(crate) async fn thresholds(
    engine: Engine<'_>,
    catalogue: &Catalogue,
) -> Result<(Parts, u64), Failure> {
    let failed = |error: DataFusionError| {
        Failure::because(Kind::Protocol, "cannot compute the thresholds", error)
            .mend("check the expressions of the protocols against the canonical columns")
    };
    let query = visit_threshold_sql(catalogue.protocols());
    let frame = engine.session().sql(&query).await.map_err(failed)?;
    let schema = Arc::new(frame.schema().as_arrow().clone());
    let mut parts = engine.parts(&query, frame, failed).await?;
    if parts.iter().all(Vec::is_empty) {
        parts = vec![vec![RecordBatch::new_empty(schema)]];
    }
    let without = parts.iter().flatten().map(without_threshold).sum();
    Ok((parts, without))
}

/// Rows whose threshold is null or not above 0.
fn without_threshold(batch: &RecordBatch) -> u64 {
    let thresholds = batch
        .column_by_name("threshold")
        .expect("the statement that was run names this column")
        .as_primitive::<Float64Type>();
    let above = thresholds
        .iter()
        .flatten()
        .filter(|threshold| *threshold > 0.0);
    (batch.num_rows() - above.count()) as u64
}

/// A table of these columns, each of which may hold nulls.
pub(crate) fn table_of(columns: Vec<(&str, ArrayRef)>) -> Result<RecordBatch, Failure> {
    let columns = columns.into_iter().map(|(name, array)| (name, array, true));
    RecordBatch::try_from_iter_with_nullable(columns)
        .map_err(|error| Failure::because(Kind::Stage, "cannot make a table of the setting", error))
}
