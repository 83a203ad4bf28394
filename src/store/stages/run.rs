//! Runs the stages on a snapshot and holds each to its header: what it reads here, its columns, types and nulls in
//! [`crate::stages::stage_rows`], its key and checks in [`crate::stages::promises`].

use std::collections::{BTreeSet, HashMap};

use arrow::array::{AsArray, BooleanArray, RecordBatch};
use arrow::compute::filter_record_batch;
use arrow::datatypes::Int32Type;
use datafusion::common::tree_node::TreeNodeRecursion;
use datafusion::error::DataFusionError;
use datafusion::logical_expr::LogicalPlan;
use datafusion::prelude::SessionContext;

use crate::delta::snapshot::Snapshot;
use crate::delta::week_parts::BEHIND_VISITS;
use crate::stages::computed::{compute_after, hold_to_steps};
use crate::stages::engine::{Engine, Parts};
use crate::stages::files::{Stage, stages};
use crate::stages::inputs::{Setting, keep_setting};
use crate::stages::promises::{hold_to_checks, hold_to_key};
use crate::stages::scenario_run::change_economics;
use crate::stages::stage_rows::{broken, conforming, schema_of, schema_of_parts, whole_table};
use crate::stages::wanted::Wanted;
use scouting::failure::Failure;
use scouting::protocol::catalogue::Catalogue;
use scouting::visit::week::IsoWeek;

/// The finished tables of a roll-up, all private.
#[derive(Debug, Clone)]
pub struct Rollup {
    /// The store version that it was made from.
    pub store_version: i64,
    /// Visits that are left out, since their protocol gives them no threshold.
    pub visits_without_threshold: u64,
    pub(crate) tables: HashMap<String, StageTable>,
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
    /// Whether a week is in it.
    pub fn holds(self, iso_week: &str, season: i32) -> bool {
        match self {
            Period::All => true,
            Period::Season(wanted) => season == wanted,
            Period::Week(wanted) => iso_week == wanted.to_string(),
        }
    }
}

impl StageTable {
    /// The rows of a period under a protocol, or under all.
    pub fn rows_under(
        &self,
        period: Period,
        protocol: Option<&str>,
    ) -> Result<RecordBatch, Failure> {
        let rows = self.rows_of(period)?;
        let Some(wanted) = protocol else {
            return Ok(rows);
        };
        let column = rows
            .column_by_name("protocol")
            .ok_or_else(|| broken(&self.stage, "it has no column protocol"))?;
        let is_wanted = column.as_string::<i32>().iter();
        let is_wanted: BooleanArray = is_wanted.map(|id| Some(id == Some(wanted))).collect();
        filter_record_batch(&rows, &is_wanted)
            .map_err(|error| broken(&self.stage, &error.to_string()).caused_by(error))
    }

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
            .map_err(|error| broken(&self.stage, &error.to_string()).caused_by(error))
    }
}

/// Tables that are kept to the end; the others are dropped once nothing reads them any more.
pub const FINISHED: [&str; 2] = ["field_week", "county_week_full"];

impl Rollup {
    /// A finished table by its name.
    pub fn table(&self, name: &str) -> Option<&StageTable> {
        self.tables.get(name)
    }

    /// The private table of fields and weeks.
    pub fn field_week(&self) -> &StageTable {
        &self.tables["field_week"]
    }

    /// The private table of counties and weeks: every figure, small groups included.
    pub fn county_week_full(&self) -> &StageTable {
        &self.tables["county_week_full"]
    }
}

/// Runs the stages over the visits of a snapshot as far as it is [`Wanted`]. Under a scenario it is for
/// [`crate::stages::scenario_run`] alone, which lets nobody take what comes out for a finding.
pub(crate) async fn roll_up_as(
    snapshot: &Snapshot,
    engine: Engine<'_>,
    catalogue: &Catalogue,
    setting: &Setting,
    wanted: Wanted<'_>,
) -> Result<Rollup, Failure> {
    keep_setting(engine, catalogue, setting).await?;
    let stages = stages()?;
    hold_to_steps(&stages)?;
    let mut tables = HashMap::new();
    let mut visits_without_threshold = 0;
    for (place, stage) in stages.iter().enumerate() {
        let parts = run_stage(engine, stage).await?;
        if let Some(scenario) = wanted.scenario.filter(|_| stage.table == "current_visit") {
            change_economics(engine.session(), catalogue, scenario).await?;
        }
        if wanted.tables.contains(&stage.table.as_str()) {
            let batch = whole_table(stage, &parts)?;
            let table = StageTable {
                stage: stage.clone(),
                batch,
            };
            tables.insert(stage.table.clone(), table);
        }
        if tables.len() == wanted.tables.len() {
            break;
        }
        visits_without_threshold += compute_after(engine, stage, parts, catalogue, setting).await?;
        forget_unread(engine, &stages, place)?;
    }
    Ok(Rollup {
        store_version: snapshot.version(),
        visits_without_threshold,
        tables,
    })
}

/// Runs one stage where the tables are that it reads, holds it to its header, and leaves its table with them; the
/// rows in the parts in which they were made.
///
/// # Errors
/// A [`Failure`] that names the file, if the query cannot be run or its header does not say the truth
/// about its reads, columns, types, nulls, key or checks.
pub async fn run_stage(engine: Engine<'_>, stage: &Stage) -> Result<Parts, Failure> {
    let partitions = rows_of(engine, stage).await?;
    let schema = schema_of_parts(&partitions);
    engine
        .keep(&stage.table, schema, partitions.clone())
        .await?;
    hold_to_key(engine.session(), stage, &partitions).await?;
    hold_to_checks(engine.session(), stage).await?;
    Ok(partitions)
}

/// The rows of a stage's query, with the columns, types and nulls of the header; one batch at least.
async fn rows_of(engine: Engine<'_>, stage: &Stage) -> Result<Parts, Failure> {
    let failed = |error: DataFusionError| broken(stage, &error.to_string()).caused_by(error);
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
    let mut partitions = engine.parts(&stage.query, frame, failed).await?;
    if partitions.iter().all(Vec::is_empty) {
        partitions = vec![vec![RecordBatch::new_empty(schema_of(stage))]];
    }
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

/// The rows of a query about a stage's table.
pub(crate) async fn rows_by_query(
    session: &SessionContext,
    stage: &Stage,
    query: &str,
) -> Result<Vec<RecordBatch>, Failure> {
    let failed = |error: DataFusionError| broken(stage, &error.to_string()).caused_by(error);
    let frame = session.sql(query).await.map_err(failed)?;
    frame.collect().await.map_err(failed)
}

/// Frees the tables that no later stage reads.
fn forget_unread(engine: Engine<'_>, stages: &[Stage], place: usize) -> Result<(), Failure> {
    let later = &stages[place + 1..];
    let stage = &stages[place];
    let made_here = |table: &&String| {
        stages.iter().any(|stage| {
            let computed = stage.computed.as_ref();
            stage.table == **table || computed.is_some_and(|one| one.table == **table)
        })
    };
    let done = stage.reads.iter().chain([&stage.table]);
    for table in done.filter(made_here) {
        if !later.iter().any(|stage| stage.reads.contains(table)) {
            engine.forget(table)?;
        }
    }
    Ok(())
}
