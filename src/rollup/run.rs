//! Runs the stages on a snapshot and holds each to its header: reads, columns, types and nulls; its key and
//! checks are held in [`super::promises`].

use std::collections::{BTreeSet, HashMap};
use std::sync::Arc;

use arrow::array::{Array, ArrayRef, AsArray, BooleanArray, RecordBatch};
use arrow::compute::{
    CastOptions, LexicographicalComparator, SortColumn, SortOptions, cast_with_options,
    filter_record_batch,
};
use arrow::datatypes::{Field, Int32Type, Schema, SchemaRef};
use datafusion::common::tree_node::TreeNodeRecursion;
use datafusion::error::DataFusionError;
use datafusion::logical_expr::LogicalPlan;
use datafusion::prelude::SessionContext;

use super::certainty::field_certainty;
use super::clustering::week_clustering;
use super::engine::{Elsewhere, Engine, Parts};
use super::inputs::{Setting, keep_setting, keep_thresholds, protocols_known};
use super::promises::{hold_to_checks, hold_to_key, key_of};
use super::scenario_run::change_economics;
use super::smoothing::county_share_smoothed;
use super::stages::{Stage, StageColumn, stages};
use super::wanted::Wanted;
use super::windows::field_window;
use crate::failure::{Failure, Kind};
use crate::protocol::catalogue::Catalogue;
use crate::store::season_parts::BEHIND_VISITS;
use crate::store::snapshot::Snapshot;
use crate::visit::week::IsoWeek;

/// The finished tables of a roll-up.
#[derive(Debug, Clone)]
pub struct Rollup {
    /// The store version that it was made from.
    pub store_version: i64,
    /// Visits that are left out, since their protocol gives them no threshold.
    pub visits_without_threshold: u64,
    tables: HashMap<String, StageTable>,
}

/// A stage's table with its documentation.
#[derive(Debug, Clone)]
pub struct StageTable {
    /// The stage that made it.
    pub stage: Stage,
    /// Its rows, in the order of its key.
    pub batch: RecordBatch,
}

/// The weeks that an output holds.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Period {
    /// Every week of the store.
    All,
    /// One season: an ISO week-year.
    Season(i32),
    /// One week.
    Week(IsoWeek),
}

impl Period {
    /// Whether a week lies in it.
    pub fn holds(self, iso_week: &str, season: i32) -> bool {
        match self {
            Period::All => true,
            Period::Season(wanted) => season == wanted,
            Period::Week(wanted) => iso_week == wanted.to_string(),
        }
    }
}

impl StageTable {
    /// The rows of a period, for a table with the columns `iso_week` and `season`.
    pub fn rows_of(&self, period: Period) -> Result<RecordBatch, Failure> {
        let column = |name: &str| {
            self.batch
                .column_by_name(name)
                .ok_or_else(|| broken(&self.stage, &format!("it has no column {name}")))
        };
        let weeks = column("iso_week")?.as_string::<i32>();
        let seasons = column("season")?.as_primitive::<Int32Type>();
        let wanted: BooleanArray = (0..self.batch.num_rows())
            .map(|row| Some(period.holds(weeks.value(row), seasons.value(row))))
            .collect();
        filter_record_batch(&self.batch, &wanted)
            .map_err(|error| broken(&self.stage, &error.to_string()))
    }
}

/// Tables that are kept to the end; the others are dropped once nothing reads them any more.
pub const FINISHED: [&str; 6] = [
    "field_week",
    "county_week",
    "region_week",
    "region_pressure",
    "region_stage",
    "sample_point",
];

/// Tables that are computed beside the stages.
const COMPUTED: [&str; 5] = [
    "visit_threshold",
    "field_certainty",
    "field_window",
    "county_share_smoothed",
    "week_clustering",
];

impl Rollup {
    /// A finished table by its name.
    pub fn table(&self, name: &str) -> Option<&StageTable> {
        self.tables.get(name)
    }

    /// The private table of fields and weeks.
    pub fn field_week(&self) -> &StageTable {
        &self.tables["field_week"]
    }

    /// The public table of counties and weeks.
    pub fn county_week(&self) -> &StageTable {
        &self.tables["county_week"]
    }

    /// The public table of weeks of the whole region.
    pub fn region_week(&self) -> &StageTable {
        &self.tables["region_week"]
    }

    /// The public table of weeks and classes of pressure.
    pub fn region_pressure(&self) -> &StageTable {
        &self.tables["region_pressure"]
    }

    /// The public table of weeks and crop stages.
    pub fn region_stage(&self) -> &StageTable {
        &self.tables["region_stage"]
    }

    /// The public table of grid cells and weeks with visits.
    pub fn sample_point(&self) -> &StageTable {
        &self.tables["sample_point"]
    }
}

/// Runs every stage over a version of the store, elsewhere if there is such a place, which has the tables
/// `visits` and `receipts` then.
pub async fn roll_up(
    snapshot: &Snapshot,
    elsewhere: Option<&dyn Elsewhere>,
    catalogue: &Catalogue,
    setting: &Setting,
) -> Result<Rollup, Failure> {
    roll_up_keeping(snapshot, elsewhere, catalogue, setting, &[]).await
}

/// The same, and keeps some of the tables that are dropped otherwise.
pub async fn roll_up_keeping(
    snapshot: &Snapshot,
    elsewhere: Option<&dyn Elsewhere>,
    catalogue: &Catalogue,
    setting: &Setting,
    also: &[&str],
) -> Result<Rollup, Failure> {
    let engine = Engine::with(snapshot.session(), elsewhere);
    let tables: Vec<&str> = FINISHED.iter().chain(also).copied().collect();
    let wanted = Wanted {
        tables: &tables,
        ..Wanted::default()
    };
    roll_up_as(snapshot, engine, catalogue, setting, wanted).await
}

/// The same as it is [`Wanted`]. Under a scenario it is for [`super::scenario_run`] alone, which lets nobody take what
/// comes out for a finding.
pub(super) async fn roll_up_as(
    snapshot: &Snapshot,
    engine: Engine<'_>,
    catalogue: &Catalogue,
    setting: &Setting,
    wanted: Wanted<'_>,
) -> Result<Rollup, Failure> {
    keep_setting(engine, catalogue, setting).await?;
    let stages = stages()?;
    let mut tables = HashMap::new();
    let mut visits_without_threshold = 0;
    for (place, stage) in stages.iter().enumerate() {
        run_stage(engine, stage).await?;
        if let Some(scenario) = wanted.scenario.filter(|_| stage.table == "current_visit") {
            change_economics(engine.session(), catalogue, scenario).await?;
        }
        if wanted.tables.contains(&stage.table.as_str()) {
            let batch = whole_table(engine, stage).await?;
            let table = StageTable {
                stage: stage.clone(),
                batch,
            };
            tables.insert(stage.table.clone(), table);
        }
        if tables.len() == wanted.tables.len() {
            break;
        }
        visits_without_threshold += compute_beside(engine, stage, catalogue, setting).await?;
        forget_unread(engine, &stages, place)?;
    }
    Ok(Rollup {
        store_version: snapshot.version(),
        visits_without_threshold,
        tables,
    })
}

/// What stock SQL cannot compute of a stage's rows, as tables that later stages read.
async fn compute_beside(
    engine: Engine<'_>,
    stage: &Stage,
    catalogue: &Catalogue,
    setting: &Setting,
) -> Result<u64, Failure> {
    let keep = async |name: &str, batch: RecordBatch| {
        engine.keep(name, batch.schema(), vec![vec![batch]]).await
    };
    match stage.table.as_str() {
        "current_visit" => {
            protocols_known(engine.session(), catalogue).await?;
            return keep_thresholds(engine, catalogue).await;
        }
        "standing_visit" => {
            let rows = whole_table(engine, stage).await?;
            keep("field_certainty", field_certainty(&rows)?).await?;
            let windows = field_window(&rows, catalogue, &setting.weather)?;
            keep("field_window", windows).await?;
        }
        "county_week_shown" => {
            let rows = whole_table(engine, stage).await?;
            let smoothed = county_share_smoothed(&rows, setting)?;
            keep("county_share_smoothed", smoothed).await?;
        }
        "county_week" => {
            let rows = whole_table(engine, stage).await?;
            keep("week_clustering", week_clustering(&rows, setting)?).await?;
        }
        _ => {}
    }
    Ok(0)
}

/// Runs one stage where the tables are that it reads, holds it to its header, and leaves its table with them.
///
/// # Errors
/// A [`Failure`] that names the file, if the query cannot be run or its header does not say the truth
/// about its reads, columns, types, nulls, key or checks.
pub async fn run_stage(engine: Engine<'_>, stage: &Stage) -> Result<(), Failure> {
    let partitions = rows_of(engine, stage).await?;
    let kept = partitions.clone();
    engine.keep(&stage.table, schema_of(stage), kept).await?;
    hold_to_key(engine.session(), stage, &partitions).await?;
    hold_to_checks(engine.session(), stage).await
}

/// The rows of a stage's query, with the columns, types and nulls of the header.
async fn rows_of(engine: Engine<'_>, stage: &Stage) -> Result<Parts, Failure> {
    let failed = |error: DataFusionError| broken(stage, &error.to_string());
    let frame = engine.session().sql(&stage.query).await.map_err(failed)?;
    let scanned = tables_read(frame.logical_plan()).map_err(failed)?;
    let scanned = by_their_names(scanned);
    if scanned != stage.reads {
        let found = scanned.join(", ");
        return Err(broken(
            stage,
            &format!(
                "its header says reads: {}; its query reads {found}",
                stage.reads.join(", ")
            ),
        ));
    }
    let partitions = engine.parts(&stage.query, frame, failed).await?;
    partitions
        .into_iter()
        .map(|batches| {
            batches
                .iter()
                .map(|batch| conforming(stage, batch))
                .collect()
        })
        .collect()
}

/// Where `visits` are a part of themselves, the engine puts what they are made of in place of their name.
fn by_their_names(mut scanned: Vec<String>) -> Vec<String> {
    let all = scanned.len();
    scanned.retain(|name| !BEHIND_VISITS.contains(&name.as_str()));
    if scanned.len() < all {
        scanned.push("visits".to_owned());
        scanned.sort();
    }
    scanned
}

/// The base tables of a plan, sorted.
fn tables_read(plan: &LogicalPlan) -> Result<Vec<String>, DataFusionError> {
    let mut names = BTreeSet::new();
    plan.apply_with_subqueries(|node| {
        if let LogicalPlan::TableScan(scan) = node {
            names.insert(scan.table_name.table().to_owned());
        }
        Ok(TreeNodeRecursion::Continue)
    })?;
    Ok(names.into_iter().collect())
}

fn schema_of(stage: &Stage) -> SchemaRef {
    let fields = stage
        .columns
        .iter()
        .map(|column| Field::new(&column.name, column.data_type.clone(), column.nullable));
    Arc::new(Schema::new(fields.collect::<Vec<_>>()))
}

/// A batch with exactly the columns that the header promises.
fn conforming(stage: &Stage, batch: &RecordBatch) -> Result<RecordBatch, Failure> {
    let found: Vec<String> = batch
        .schema()
        .fields()
        .iter()
        .map(|f| f.name().clone())
        .collect();
    let promised: Vec<String> = stage
        .columns
        .iter()
        .map(|column| column.name.clone())
        .collect();
    if found != promised {
        return Err(broken(
            stage,
            &format!("its columns are {}", found.join(", ")),
        ));
    }
    let columns: Vec<ArrayRef> = stage
        .columns
        .iter()
        .zip(batch.columns())
        .map(|(column, array)| {
            let array = of_type(stage, column, array)?;
            if array.null_count() > 0 && !column.nullable {
                return Err(broken(
                    stage,
                    &format!("{} is null in some rows", column.name),
                ));
            }
            Ok(array)
        })
        .collect::<Result<_, _>>()?;
    RecordBatch::try_new(schema_of(stage), columns)
        .map_err(|error| broken(stage, &error.to_string()))
}

/// A column in the header's type. The engine chooses among its kinds of text and widths of whole
/// numbers as it likes; any other difference is a lie of the header.
fn of_type(stage: &Stage, column: &StageColumn, array: &ArrayRef) -> Result<ArrayRef, Failure> {
    let (found, promised) = (array.data_type(), &column.data_type);
    let one_kind = found == promised
        || (found.is_string() && promised.is_string())
        || (found.is_integer() && promised.is_integer())
        || (found.is_null() && column.nullable);
    if !one_kind {
        let name = &column.name;
        return Err(broken(
            stage,
            &format!("{name} is {found}, where its header promises {promised}"),
        ));
    }
    let strictly = CastOptions {
        safe: false,
        ..CastOptions::default()
    };
    cast_with_options(array, promised, &strictly)
        .map_err(|error| broken(stage, &format!("{}: {error}", column.name)))
}

/// The rows of a query about a stage's table.
pub(super) async fn rows_by_query(
    session: &SessionContext,
    stage: &Stage,
    query: &str,
) -> Result<Vec<RecordBatch>, Failure> {
    let failed = |error: DataFusionError| broken(stage, &error.to_string());
    let frame = session.sql(query).await.map_err(failed)?;
    frame.collect().await.map_err(failed)
}

/// The rows of a stage that was run, in one batch, in the order of its key.
pub async fn whole_table(engine: Engine<'_>, stage: &Stage) -> Result<RecordBatch, Failure> {
    let session = engine.session();
    let query = format!("select * from {}", stage.table);
    let table = in_one_batch(stage, &rows_by_query(session, stage, &query).await?)?;
    // Most stages end in the order of their key, and what is in order is not sorted again.
    if in_order_of_key(stage, &table)? {
        return Ok(table);
    }
    let sorted = format!("{query} order by {}", stage.key.join(", "));
    in_one_batch(stage, &rows_by_query(session, stage, &sorted).await?)
}

fn in_one_batch(stage: &Stage, batches: &[RecordBatch]) -> Result<RecordBatch, Failure> {
    arrow::compute::concat_batches(&schema_of(stage), batches)
        .map_err(|error| broken(stage, &error.to_string()))
}

fn in_order_of_key(stage: &Stage, table: &RecordBatch) -> Result<bool, Failure> {
    let ascending = key_of(stage, table)?.into_iter().map(|column| SortColumn {
        values: column.clone(),
        options: Some(SortOptions::new(false, false)),
    });
    let ascending: Vec<SortColumn> = ascending.collect();
    let order = LexicographicalComparator::try_new(&ascending)
        .map_err(|error| broken(stage, &error.to_string()))?;
    Ok((1..table.num_rows()).all(|row| order.compare(row - 1, row).is_lt()))
}

/// Frees the tables that no later stage reads.
fn forget_unread(engine: Engine<'_>, stages: &[Stage], place: usize) -> Result<(), Failure> {
    let later = &stages[place + 1..];
    let stage = &stages[place];
    let made_here = |table: &&String| {
        COMPUTED.contains(&table.as_str()) || stages.iter().any(|stage| stage.table == **table)
    };
    let done = stage.reads.iter().chain([&stage.table]);
    for table in done.filter(made_here) {
        if !later.iter().any(|stage| stage.reads.contains(table)) {
            engine.forget(table)?;
        }
    }
    Ok(())
}

/// A stage that does not keep to its header.
pub(super) fn broken(stage: &Stage, reason: &str) -> Failure {
    Failure::new(
        Kind::Stage,
        format!("the stage {} failed: {reason}", stage.file_name),
    )
    .mend("`bractline store verify` tells whether the store is whole; if it is, please report this")
}
