//! A person's own query, which can read the tables and do nothing else: no file, no other table, no
//! writing, no setting, no network; within a limit of memory, and without temporary files.
//!
//! Each table is shown as it counts: rows of loads without receipt are not there.

use std::sync::Arc;

use arrow::array::RecordBatch;
use datafusion::datasource::MemTable;
use datafusion::error::DataFusionError;
use datafusion::execution::disk_manager::{DiskManagerBuilder, DiskManagerMode};
use datafusion::execution::runtime_env::RuntimeEnvBuilder;
use datafusion::prelude::{SQLOptions, SessionConfig, SessionContext};
use datafusion::sql::parser::{DFParser, Statement};
use datafusion::sql::sqlparser::ast::Statement as Standard;
use futures::TryStreamExt;

pub use crate::delta::query_answer::Answer;
use crate::delta::query_limits::not_taken;
use crate::delta::snapshot::{receipts_at, register};
use crate::delta::tables::Store;
use crate::rows::closings::CLOSINGS_ON_RECORD;
use crate::rows::query_rows::unreadable;
use crate::rows::schema::Kept;
use scouting::failure::{Failure, Kind};

/// Longest text of a query. The engine reads and computes expressions by recursion: `a+1+1+…` of this length is some
/// 8,000 calls deep, for which `cli::sql` gives its threads room.
const QUERY_BYTES_MAX: usize = 16_384;

/// Name of the view of the visits that count: of each the highest revision, unless it withdraws the visit.
pub const CURRENT_VISITS: &str = "current_visits";
/// As `pipeline/stages/15_current_visit.sql` chooses them, with all columns of `visits`, of which only what counts is left.
const QUERY_OF_CURRENT_VISITS: &str = "with higher as (select visit_id, revision from visits where revision > 1) \
     select * from visits where not retracted and not exists (\
     select 1 from higher where higher.visit_id = visits.visit_id and higher.revision > visits.revision)";

/// The tables, ready for one query.
pub struct ReadOnly {
    session: SessionContext,
    memory_bytes: usize,
}

/// The one statement of a text, which is a query, and the tables that it names.
pub struct Query {
    statement: Statement,
    /// The tables that it reads, as it names them.
    pub tables: Vec<String>,
}

impl Query {
    /// Reads a query.
    ///
    /// # Errors
    /// A [`Failure`] if it is not exactly one query.
    pub fn read(text: &str) -> Result<Query, Failure> {
        if text.len() > QUERY_BYTES_MAX {
            return Err(refused(&format!(
                "it is longer than {QUERY_BYTES_MAX} bytes"
            )));
        }
        let mut statements = DFParser::parse_sql(text).map_err(wrong)?;
        let statement = match (statements.pop_front(), statements.is_empty()) {
            (Some(statement), true) => statement,
            (None, _) => return Err(refused("it is empty")),
            (Some(_), false) => return Err(refused("it is more than one statement")),
        };
        let is_query = matches!(&statement, Statement::Statement(standard)
            if matches!(**standard, Standard::Query(_)));
        if !is_query {
            return Err(refused(
                "it is not a query: only SELECT, WITH and VALUES are",
            ));
        }
        let session = SessionContext::new();
        let named = session
            .state()
            .resolve_table_references(&statement)
            .map_err(wrong)?;
        let tables = named.iter().map(ToString::to_string).collect();
        Ok(Query { statement, tables })
    }
}

impl ReadOnly {
    /// Opens a version, or the newest if none is named, for a query that may use so much memory and be split into so
    /// many parts.
    pub async fn open(
        store: &Store,
        version: Option<i64>,
        memory_bytes: usize,
        partitions: usize,
    ) -> Result<ReadOnly, Failure> {
        // Nothing is put aside on the disk: what does not fit ends the query.
        let no_files = DiskManagerBuilder::default().with_mode(DiskManagerMode::Disabled);
        let runtime = RuntimeEnvBuilder::new()
            .with_memory_limit(memory_bytes, 1.0)
            .with_disk_manager_builder(no_files)
            .build_arc()
            .map_err(unreadable)?;
        let config = SessionConfig::new().with_target_partitions(partitions);
        let session = SessionContext::new_with_config_rt(config, runtime);
        let there = store.tables().await;
        for kept in &there {
            let table = match version.filter(|_| *kept == Kept::Receipts) {
                Some(version) => receipts_at(store, version).await?.0,
                None => store.table(*kept).await?,
            };
            register(&session, *kept, &table).await?;
        }
        for kept in there {
            let query = match (kept, version) {
                (Kept::Receipts, _) | (Kept::Alerts, None) => continue,
                (Kept::Alerts, Some(version)) => {
                    format!("select * from alerts where store_version <= {version}")
                }
                (Kept::HeldClosed, _) => CLOSINGS_ON_RECORD.to_owned(),
                _ => format!(
                    "select * from {} where load_id in (select load_id from receipts)",
                    kept.name()
                ),
            };
            let counted = session.sql(&query).await.map_err(unreadable)?;
            let replaced = session.deregister_table(kept.name());
            replaced.map_err(unreadable)?;
            session
                .register_table(kept.name(), counted.into_view())
                .map_err(unreadable)?;
        }
        let current = session.sql(QUERY_OF_CURRENT_VISITS).await;
        let current = current.map_err(unreadable)?.into_view();
        session
            .register_table(CURRENT_VISITS, current)
            .map_err(unreadable)?;
        Ok(ReadOnly {
            session,
            memory_bytes,
        })
    }

    /// Adds a table that was rolled up.
    pub fn add(&self, name: &str, rows: &RecordBatch) -> Result<(), Failure> {
        let table = MemTable::try_new(rows.schema(), vec![vec![rows.clone()]]);
        let table = table.map_err(unreadable)?;
        self.session
            .register_table(name, Arc::new(table))
            .map_err(unreadable)?;
        Ok(())
    }

    /// Answers a query, all of it or nothing.
    pub async fn answer(&self, query: Query) -> Result<Answer, Failure> {
        let state = self.session.state();
        let plan = state.statement_to_plan(query.statement).await;
        let plan = plan.map_err(wrong)?;
        if let Some(why) = not_taken(&plan).map_err(wrong)? {
            return Err(
                Failure::new(Kind::Settings, format!("cannot take the query: {why}"))
                    .mend("ask without it; what a query may not call is what could take all memory at once"),
            );
        }
        let only_reading = SQLOptions::new()
            .with_allow_ddl(false)
            .with_allow_dml(false)
            .with_allow_statements(false);
        only_reading
            .verify_plan(&plan)
            .map_err(|error| refused(&error.strip_backtrace()).caused_by(error))?;
        let frame = self.session.execute_logical_plan(plan).await;
        let frame = frame.map_err(wrong)?;
        let mut stream = frame.execute_stream().await.map_err(wrong)?;
        let (mut batches, mut bytes) = (Vec::new(), 0);
        while let Some(batch) = stream.try_next().await.map_err(wrong)? {
            bytes += batch.get_array_memory_size();
            if bytes > self.memory_bytes {
                return Err(too_much(
                    "its answer does not fit into the memory that it may use",
                ));
            }
            batches.push(batch);
        }
        if batches.is_empty() {
            batches.push(RecordBatch::new_empty(stream.schema()));
        }
        Answer::of(&batches)
    }
}

/// The query itself cannot be run, in the engine's words.
fn wrong(error: DataFusionError) -> Failure {
    match error.find_root() {
        DataFusionError::ResourcesExhausted(_) => too_much("it needs more memory than it may use"),
        _ => {
            let what = format!("cannot answer the query: {}", error.strip_backtrace());
            Failure::new(Kind::Settings, what).caused_by(error)
        }
    }
}

fn refused(why: &str) -> Failure {
    Failure::new(Kind::Settings, format!("cannot take the query: {why}"))
        .mend("give one query that reads the tables: SELECT … FROM visits …")
}

/// A query that asks for more than it may have.
pub fn too_much(what: &str) -> Failure {
    Failure::new(Kind::Settings, format!("the query was ended: {what}"))
        .mend("ask for less, or raise --memory-mb or --seconds")
}
