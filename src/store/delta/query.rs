//! A person's own query, which can read the tables and do nothing else: no file, no other table, no
//! writing, no setting, no network; within a limit of memory, and without temporary files.
//!
//! Each table is shown as it counts: rows of loads without receipt are not there.

use std::sync::Arc;

use arrow::array::RecordBatch;
use arrow::util::display::{ArrayFormatter, FormatOptions};
use datafusion::arrow::json::WriterBuilder;
use datafusion::arrow::json::writer::JsonArray;
use datafusion::arrow::util::pretty::pretty_format_batches;
use datafusion::datasource::MemTable;
use datafusion::error::DataFusionError;
use datafusion::execution::disk_manager::{DiskManagerBuilder, DiskManagerMode};
use datafusion::execution::runtime_env::RuntimeEnvBuilder;
use datafusion::prelude::{SQLOptions, SessionConfig, SessionContext};
use datafusion::sql::parser::{DFParser, Statement};
use datafusion::sql::sqlparser::ast::Statement as Standard;
use futures::TryStreamExt;

use crate::delta::query_limits::not_taken;
use crate::delta::snapshot::register;
use crate::delta::tables::Store;
use crate::rows::closings::CLOSINGS_ON_RECORD;
use crate::rows::query_rows::unreadable;
use crate::rows::schema::Kept;
use scouting::failure::{Cause, Failure, Kind};

/// Longest text of a query. The engine reads and computes expressions by recursion: `a+1+1+…` of this length is some
/// 8,000 calls deep, for which `cli::sql` gives its threads room.
const QUERY_BYTES_MAX: usize = 16_384;

/// The tables, ready for one query.
pub struct ReadOnly {
    session: SessionContext,
    memory_bytes: usize,
}

/// What a query came to.
pub struct Answer {
    batches: Vec<RecordBatch>,
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
    /// Opens the newest version for a query that may use so much memory and be split into so many parts.
    pub async fn open(
        store: &Store,
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
        for kept in store.tables().await {
            register(&session, kept, &store.table(kept).await?).await?;
        }
        for kept in [Kept::Visits, Kept::Units, Kept::Held, Kept::HeldClosed] {
            let query = match kept {
                Kept::HeldClosed => CLOSINGS_ON_RECORD.to_owned(),
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
        Ok(Answer { batches })
    }
}

impl Answer {
    /// A table for people.
    pub fn text(&self) -> Result<String, Failure> {
        let table = pretty_format_batches(&self.batches).map_err(unshown)?;
        Ok(table.to_string())
    }

    /// JSON array of objects, nulls written out.
    pub fn json(&self) -> Result<String, Failure> {
        let mut text = Vec::new();
        let builder = WriterBuilder::new().with_explicit_nulls(true);
        let mut writer = builder.build::<_, JsonArray>(&mut text);
        let batches: Vec<&RecordBatch> = self.batches.iter().collect();
        writer
            .write_batches(&batches)
            .and_then(|()| writer.finish())
            .map_err(unshown)?;
        String::from_utf8(text).map_err(unshown)
    }

    /// CSV with a line of names; a null is an empty cell, bytes are hexadecimal.
    pub fn csv(&self) -> Result<String, Failure> {
        let mut writer = csv::Writer::from_writer(Vec::new());
        let schema = self.batches[0].schema();
        let names = schema.fields().iter().map(|field| field.name().as_str());
        writer.write_record(names).map_err(unshown)?;
        for batch in &self.batches {
            let options = FormatOptions::default();
            let columns = batch
                .columns()
                .iter()
                .map(|column| ArrayFormatter::try_new(column, &options))
                .collect::<Result<Vec<_>, _>>()
                .map_err(unshown)?;
            for row in 0..batch.num_rows() {
                let cells = columns.iter().map(|column| column.value(row).to_string());
                writer.write_record(cells).map_err(unshown)?;
            }
        }
        let bytes = writer.into_inner().map_err(unshown)?;
        let text = String::from_utf8(bytes).map_err(unshown)?;
        Ok(text.trim_end_matches('\n').to_owned())
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

fn unshown(error: impl Into<Cause>) -> Failure {
    Failure::because(Kind::Settings, "cannot show the answer", error)
}
