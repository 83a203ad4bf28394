//! Runs one stage and holds it to its header: what it reads here, its columns, types and nulls in
//! [`crate::stages::stage_rows`], its key and checks in [`crate::stages::promises`].

use std::collections::BTreeSet;

use arrow::array::RecordBatch;
use datafusion::common::tree_node::TreeNodeRecursion;
use datafusion::error::DataFusionError;
use datafusion::logical_expr::LogicalPlan;

use crate::delta::week_parts::BEHIND_VISITS;
use crate::stages::engine::{Engine, Parts};
use crate::stages::files::Stage;
use crate::stages::promises::{hold_to_checks, hold_to_key};
use crate::stages::stage_rows::{broken, conforming, schema_of, schema_of_parts};
use scouting::failure::Failure;

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
