//! Our own queries on the tables of a version, and the rows that they give.

use std::fmt;

use arrow::array::RecordBatch;
use datafusion::execution::SendableRecordBatchStream;
use datafusion::prelude::SessionContext;
use futures::TryStreamExt;
use serde::Deserialize;
use serde::de::DeserializeOwned;

use crate::rows::decode;
use scouting::failure::{Failure, Kind};

/// The rows of a query whose columns are the members of `T`, as [`decode::rows`] reads them.
pub(crate) async fn rows<T: DeserializeOwned>(
    session: &SessionContext,
    query: &str,
) -> Result<Vec<T>, Failure> {
    let mut all = Vec::new();
    for batch in batches(session, query).await? {
        all.extend(decode::rows::<T>(&batch).map_err(|error| unreadable(&error))?);
    }
    Ok(all)
}

/// The only row of a query.
pub(crate) async fn one_row<T: DeserializeOwned>(
    session: &SessionContext,
    query: &str,
) -> Result<T, Failure> {
    let rows = rows(session, query).await?.into_iter();
    let mut rows = rows.take(2);
    match (rows.next(), rows.next()) {
        (Some(row), None) => Ok(row),
        _ => Err(unreadable(&"a query did not give one row")),
    }
}

/// The number of rows that a query counts.
pub(crate) async fn count(session: &SessionContext, query: &str) -> Result<i64, Failure> {
    #[derive(Deserialize)]
    struct Count {
        rows: i64,
    }
    Ok(one_row::<Count>(session, query).await?.rows)
}

/// The batches of a query, all of them in memory.
pub(crate) async fn batches(
    session: &SessionContext,
    query: &str,
) -> Result<Vec<RecordBatch>, Failure> {
    let batches = stream(session, query).await?.try_collect().await;
    batches.map_err(|error| unreadable(&error))
}

/// The batches of a query, one after the other.
pub(crate) async fn stream(
    session: &SessionContext,
    query: &str,
) -> Result<SendableRecordBatchStream, Failure> {
    let plan = session.sql(query).await;
    let plan = plan.map_err(|error| unreadable(&error))?;
    let stream = plan.execute_stream().await;
    stream.map_err(|error| unreadable(&error))
}

/// A query that the engine could not run, or whose rows are not what was asked for.
pub(crate) fn unreadable(error: &dyn fmt::Display) -> Failure {
    Failure::new(Kind::Store, format!("cannot read the store: {error}"))
        .mend("`bractline store verify` names the file that is damaged")
}
