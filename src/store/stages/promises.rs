//! What a stage's header promises of the rows themselves: that no key occurs twice, and that each check holds.

use arrow::array::{AsArray, RecordBatch};
use arrow::datatypes::Int64Type;
use datafusion::common::hash_utils::{RandomState, create_hashes};
use datafusion::error::DataFusionError;
use datafusion::prelude::SessionContext;

use crate::stages::files::Stage;
use crate::stages::stage_rows::{broken, key_of};
use scouting::failure::Failure;

/// Holds the rows to the header's checks, all in one reading of the table.
pub(crate) async fn hold_to_checks(session: &SessionContext, stage: &Stage) -> Result<(), Failure> {
    let each = stage.checks.iter();
    let each = each.map(|check| format!("count(*) filter (where ({check}) is not true)"));
    let columns: Vec<String> = each.collect();
    if columns.is_empty() {
        return Ok(());
    }
    let query = format!("select {} from {}", columns.join(", "), stage.table);
    let broken_rows = counts(session, stage, &query).await?;
    match broken_rows
        .iter()
        .zip(&stage.checks)
        .find(|(rows, _)| **rows > 0)
    {
        Some((rows, check)) => Err(broken(
            stage,
            &format!("{rows} rows break its check: {check}"),
        )),
        None => Ok(()),
    }
}

/// Holds the rows to the header's key: no value of it occurs twice. A million rows that have a key each are
/// compared by their hashes; only where two hashes are equal are the keys themselves compared.
pub(crate) async fn hold_to_key(
    session: &SessionContext,
    stage: &Stage,
    partitions: &[Vec<RecordBatch>],
) -> Result<(), Failure> {
    let mut hashes = Vec::new();
    for batch in partitions.iter().flatten() {
        hashes.extend(key_hashes(stage, batch)?);
    }
    hashes.sort_unstable();
    if hashes.windows(2).all(|two| two[0] != two[1]) {
        return Ok(());
    }
    let key = stage.key.join(", ");
    let repeated = format!(
        "select count(*) from (select {key} from {} group by {key} having count(*) > 1)",
        stage.table
    );
    match counts(session, stage, &repeated).await?.first() {
        Some(rows) if *rows > 0 => Err(broken(
            stage,
            &format!("{rows} values of its key ({key}) appear more than once"),
        )),
        _ => Ok(()),
    }
}

/// A hash of the key of each row.
fn key_hashes(stage: &Stage, batch: &RecordBatch) -> Result<Vec<u64>, Failure> {
    let mut hashes = vec![0; batch.num_rows()];
    create_hashes(key_of(stage, batch)?, &RandomState::default(), &mut hashes)
        .map_err(|error| broken(stage, &error.to_string()).caused_by(error))?;
    Ok(hashes)
}

/// The numbers of a query's one row.
async fn counts(session: &SessionContext, stage: &Stage, query: &str) -> Result<Vec<i64>, Failure> {
    let batches = rows_by_query(session, stage, query).await?;
    let row = batches.iter().find(|batch| batch.num_rows() > 0);
    let columns = row.map_or(&[][..], RecordBatch::columns).iter();
    Ok(columns
        .map(|column| column.as_primitive::<Int64Type>().value(0))
        .collect())
}

/// The rows of a query about a stage's table.
async fn rows_by_query(
    session: &SessionContext,
    stage: &Stage,
    query: &str,
) -> Result<Vec<RecordBatch>, Failure> {
    let failed = |error: DataFusionError| broken(stage, &error.to_string()).caused_by(error);
    let frame = session.sql(query).await.map_err(failed)?;
    frame.collect().await.map_err(failed)
}
