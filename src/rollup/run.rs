//! Runs the stages on a snapshot and holds each to its header: reads, columns, types, nulls, key and
//! checks.

use std::collections::{BTreeSet, HashMap};
use std::sync::Arc;

use arrow::array::{
    Array, ArrayRef, AsArray, BooleanArray, Int32Array, Int64Array, RecordBatch, StringArray,
};
use arrow::compute::{cast, filter_record_batch};
use arrow::datatypes::{Field, Int32Type, Int64Type, Schema, SchemaRef};
use datafusion::common::tree_node::TreeNodeRecursion;
use datafusion::datasource::MemTable;
use datafusion::error::DataFusionError;
use datafusion::logical_expr::LogicalPlan;
use datafusion::prelude::SessionContext;

use super::stages::{Stage, stages};
use crate::failure::{Failure, Kind};
use crate::protocol::catalogue::Catalogue;
use crate::protocol::threshold::visit_threshold_sql;
use crate::store::snapshot::Snapshot;
use crate::visit::week::IsoWeek;

/// What the stages need beside the store.
#[derive(Debug, Clone)]
pub struct Setting {
    /// Fewest fields of a published county-week.
    pub min_fields: u32,
    /// Fewest farms of a published county-week, where farms are given.
    pub min_farms: u32,
    /// Id and name of every county of the region.
    pub counties: Vec<(String, String)>,
}

/// The finished tables of a roll-up.
#[derive(Debug, Clone)]
pub struct Rollup {
    /// The store version that it was made from.
    pub store_version: i64,
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
const FINISHED: [&str; 2] = ["field_week", "county_week"];

impl Rollup {
    /// The private table of fields and weeks.
    pub fn field_week(&self) -> &StageTable {
        &self.tables["field_week"]
    }

    /// The public table of counties and weeks.
    pub fn county_week(&self) -> &StageTable {
        &self.tables["county_week"]
    }
}

/// Runs every stage over a version of the store.
pub async fn roll_up(
    snapshot: &Snapshot,
    catalogue: &Catalogue,
    setting: &Setting,
) -> Result<Rollup, Failure> {
    let session = snapshot.session();
    register_setting(session, catalogue, setting)?;
    let stages = stages()?;
    let mut tables = HashMap::new();
    for (place, stage) in stages.iter().enumerate() {
        let partitions = run_stage(session, stage).await?;
        register(session, &stage.table, schema_of(stage), partitions)?;
        check_rows(session, stage).await?;
        if stage.table == "current_visit" {
            protocols_known(session, catalogue).await?;
            register_thresholds(session, catalogue).await?;
        }
        if FINISHED.contains(&stage.table.as_str()) {
            let batch = whole_table(session, stage).await?;
            tables.insert(
                stage.table.clone(),
                StageTable {
                    stage: stage.clone(),
                    batch,
                },
            );
        }
        forget_unread(session, &stages, place)?;
    }
    Ok(Rollup {
        store_version: snapshot.version(),
        tables,
    })
}

/// Runs a stage's query; its rows with the columns, types and nulls of the header.
async fn run_stage(
    session: &SessionContext,
    stage: &Stage,
) -> Result<Vec<Vec<RecordBatch>>, Failure> {
    let failed = |error: DataFusionError| broken(stage, &error.to_string());
    let frame = session.sql(&stage.query).await.map_err(failed)?;
    let scanned = tables_read(frame.logical_plan()).map_err(failed)?;
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
    let partitions = frame.collect_partitioned().await.map_err(failed)?;
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
            let array = cast(array, &column.data_type)
                .map_err(|error| broken(stage, &format!("{}: {error}", column.name)))?;
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

/// Holds the rows to the header's key and checks.
async fn check_rows(session: &SessionContext, stage: &Stage) -> Result<(), Failure> {
    let key = stage.key.join(", ");
    let repeated = format!(
        "select count(*) from (select {key} from {} group by {key} having count(*) > 1)",
        stage.table
    );
    let rows = count(session, stage, &repeated).await?;
    if rows > 0 {
        return Err(broken(
            stage,
            &format!("{rows} values of its key ({key}) stand more than once"),
        ));
    }
    for check in &stage.checks {
        let broken_rows = format!(
            "select count(*) from {} where ({check}) is not true",
            stage.table
        );
        let rows = count(session, stage, &broken_rows).await?;
        if rows > 0 {
            return Err(broken(
                stage,
                &format!("{rows} rows break its check: {check}"),
            ));
        }
    }
    Ok(())
}

async fn count(session: &SessionContext, stage: &Stage, query: &str) -> Result<i64, Failure> {
    let failed = |error: DataFusionError| broken(stage, &error.to_string());
    let batches = session
        .sql(query)
        .await
        .map_err(failed)?
        .collect()
        .await
        .map_err(failed)?;
    let count = batches.iter().find(|batch| batch.num_rows() > 0);
    Ok(count.map_or(0, |batch| {
        batch.column(0).as_primitive::<Int64Type>().value(0)
    }))
}

/// A stage's rows in one batch, in the order of its key.
async fn whole_table(session: &SessionContext, stage: &Stage) -> Result<RecordBatch, Failure> {
    let failed = |error: DataFusionError| broken(stage, &error.to_string());
    let query = format!(
        "select * from {} order by {}",
        stage.table,
        stage.key.join(", ")
    );
    let batches = session
        .sql(&query)
        .await
        .map_err(failed)?
        .collect()
        .await
        .map_err(failed)?;
    arrow::compute::concat_batches(&schema_of(stage), &batches)
        .map_err(|error| broken(stage, &error.to_string()))
}

/// A visit whose protocol left the catalogue has no threshold: it is named, not passed over.
async fn protocols_known(session: &SessionContext, catalogue: &Catalogue) -> Result<(), Failure> {
    let failed = |error: DataFusionError| Failure::new(Kind::Stage, error.to_string());
    let query = "select distinct protocol from current_visit order by protocol";
    let batches = session
        .sql(query)
        .await
        .map_err(failed)?
        .collect()
        .await
        .map_err(failed)?;
    for batch in batches {
        let names = batch.column(0).as_string::<i32>();
        if let Some(lost) = names
            .iter()
            .flatten()
            .find(|name| catalogue.protocol(name).is_none())
        {
            return Err(Failure::new(
                Kind::Protocol,
                format!("the store has visits under the protocol {lost:?}, which is not in the catalogue"),
            )
            .at(format!("the catalogue has {}", catalogue.ids()))
            .mend("put its file back into the workspace's folder protocols"));
        }
    }
    Ok(())
}

async fn register_thresholds(
    session: &SessionContext,
    catalogue: &Catalogue,
) -> Result<(), Failure> {
    let failed = |error: DataFusionError| {
        Failure::new(
            Kind::Protocol,
            format!("cannot compute the thresholds: {error}"),
        )
        .mend("check the expressions of the protocols against the canonical columns")
    };
    let frame = session
        .sql(&visit_threshold_sql(catalogue))
        .await
        .map_err(failed)?;
    let schema = Arc::new(frame.schema().as_arrow().clone());
    let partitions = frame.collect_partitioned().await.map_err(failed)?;
    let schema = partitions
        .iter()
        .flatten()
        .next()
        .map_or(schema, |batch| batch.schema());
    register(session, "visit_threshold", schema, partitions)
}

fn register_setting(
    session: &SessionContext,
    catalogue: &Catalogue,
    setting: &Setting,
) -> Result<(), Failure> {
    let text = |values: Vec<&str>| Arc::new(StringArray::from(values)) as ArrayRef;
    let whole = |values: Vec<i32>| Arc::new(Int32Array::from(values)) as ArrayRef;
    let long = |value: u32| Arc::new(Int64Array::from(vec![i64::from(value)])) as ArrayRef;
    let counties = &setting.counties;
    let windows: Vec<(&str, (i32, i32))> = catalogue
        .protocols()
        .filter_map(|protocol| Some((protocol.id.as_str(), protocol.window()?)))
        .collect();
    let tables = [
        (
            "setting",
            vec![
                ("min_fields", long(setting.min_fields)),
                ("min_farms", long(setting.min_farms)),
            ],
        ),
        (
            "county",
            vec![
                (
                    "county_id",
                    text(counties.iter().map(|(id, _)| id.as_str()).collect()),
                ),
                (
                    "county_name",
                    text(counties.iter().map(|(_, name)| name.as_str()).collect()),
                ),
            ],
        ),
        (
            "protocol_window",
            vec![
                (
                    "protocol",
                    text(windows.iter().map(|(id, _)| *id).collect()),
                ),
                (
                    "stage_first",
                    whole(windows.iter().map(|(_, (first, _))| *first).collect()),
                ),
                (
                    "stage_last",
                    whole(windows.iter().map(|(_, (_, last))| *last).collect()),
                ),
            ],
        ),
    ];
    for (name, columns) in tables {
        let batch = RecordBatch::try_from_iter(columns)
            .map_err(|error| Failure::new(Kind::Stage, error.to_string()))?;
        register(session, name, batch.schema(), vec![vec![batch]])?;
    }
    Ok(())
}

fn register(
    session: &SessionContext,
    name: &str,
    schema: SchemaRef,
    partitions: Vec<Vec<RecordBatch>>,
) -> Result<(), Failure> {
    let refused = |error: DataFusionError| {
        Failure::new(
            Kind::Stage,
            format!("cannot keep the table {name}: {error}"),
        )
    };
    let table = MemTable::try_new(schema, partitions).map_err(refused)?;
    session
        .register_table(name, Arc::new(table))
        .map_err(refused)?;
    Ok(())
}

/// Frees the tables that no later stage reads.
fn forget_unread(session: &SessionContext, stages: &[Stage], place: usize) -> Result<(), Failure> {
    let later = &stages[place + 1..];
    let mut done: Vec<&str> = stages[..=place]
        .iter()
        .map(|stage| stage.table.as_str())
        .collect();
    if done.contains(&"visit_pressure") {
        done.push("visit_threshold");
    }
    for table in done {
        if !later
            .iter()
            .any(|stage| stage.reads.iter().any(|read| read == table))
        {
            session
                .deregister_table(table)
                .map_err(|error| Failure::new(Kind::Stage, error.to_string()))?;
        }
    }
    Ok(())
}

fn broken(stage: &Stage, reason: &str) -> Failure {
    Failure::new(
        Kind::Stage,
        format!("the stage {} failed: {reason}", stage.file_name),
    )
    .mend("`bractline store verify` tells whether the store is whole; if it is, please report this")
}
