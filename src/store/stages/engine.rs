//! Where the queries of a roll-up run: in this process, or in another place alongside it.
//!
//! The tables are in this process either way, so that what a stage promises is held to here; a place
//! elsewhere is handed each table that its queries read, and hands back rows.

use std::sync::Arc;

use arrow::array::RecordBatch;
use arrow::datatypes::SchemaRef;
use async_trait::async_trait;
use datafusion::datasource::MemTable;
use datafusion::error::DataFusionError;
use datafusion::prelude::{DataFrame, SessionContext};

use scouting::failure::{Failure, Kind};

/// Rows in the parts in which they were made.
pub(crate) type Parts = Vec<Vec<RecordBatch>>;

/// A place elsewhere that runs queries, such as a cluster.
#[async_trait]
pub trait Elsewhere: Send + Sync {
    /// Takes a table over, under its name.
    async fn keep(
        &self,
        name: &str,
        schema: SchemaRef,
        rows: &[RecordBatch],
    ) -> Result<(), Failure>;

    /// Drops a table.
    fn forget(&self, name: &str) -> Result<(), Failure>;

    /// The rows of a query over tables that it was handed.
    async fn rows(&self, query: &str) -> Result<Vec<RecordBatch>, Failure>;
}

/// A session with the tables, and where queries over them run.
#[derive(Clone, Copy)]
pub struct Engine<'a> {
    session: &'a SessionContext,
    elsewhere: Option<&'a dyn Elsewhere>,
}

impl<'a> Engine<'a> {
    /// Queries run in this process.
    pub fn here(session: &'a SessionContext) -> Engine<'a> {
        Engine {
            session,
            elsewhere: None,
        }
    }

    /// Queries run elsewhere, if there is such a place.
    pub fn with(session: &'a SessionContext, elsewhere: Option<&'a dyn Elsewhere>) -> Engine<'a> {
        Engine { session, elsewhere }
    }

    /// The session with the tables.
    pub(crate) fn session(self) -> &'a SessionContext {
        self.session
    }

    /// Keeps a table for later queries.
    pub(crate) async fn keep(
        self,
        name: &str,
        schema: SchemaRef,
        parts: Parts,
    ) -> Result<(), Failure> {
        if let Some(elsewhere) = self.elsewhere {
            let rows: Vec<RecordBatch> = parts.iter().flatten().cloned().collect();
            elsewhere.keep(name, schema.clone(), &rows).await?;
        }
        register(self.session, name, schema, parts)
    }

    /// Drops a table that no later query reads.
    pub(crate) fn forget(self, name: &str) -> Result<(), Failure> {
        let gone = self.session.deregister_table(name);
        gone.map_err(|error| {
            Failure::because(Kind::Stage, format!("cannot drop the table {name}"), error)
        })?;
        self.elsewhere
            .map_or(Ok(()), |elsewhere| elsewhere.forget(name))
    }

    /// The rows of a query that was planned here; `failed` puts what this process says against it into words, and
    /// a place elsewhere has words of its own.
    pub(crate) async fn parts(
        self,
        query: &str,
        planned: DataFrame,
        failed: impl Fn(DataFusionError) -> Failure,
    ) -> Result<Parts, Failure> {
        match self.elsewhere {
            Some(elsewhere) => Ok(vec![elsewhere.rows(query).await?]),
            None => planned.collect_partitioned().await.map_err(failed),
        }
    }
}

/// Registers a table in memory.
pub fn register(
    session: &SessionContext,
    name: &str,
    schema: SchemaRef,
    partitions: Vec<Vec<RecordBatch>>,
) -> Result<(), Failure> {
    let refused = |error: DataFusionError| {
        Failure::because(Kind::Stage, format!("cannot keep the table {name}"), error)
    };
    let table = MemTable::try_new(schema, partitions).map_err(refused)?;
    session
        .register_table(name, Arc::new(table))
        .map_err(refused)?;
    Ok(())
}
