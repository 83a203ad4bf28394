//! `bractline sql`: a query over the kept tables and the roll-up tables, and nothing else.

use std::path::PathBuf;

use clap::ValueEnum;
use clap::builder::PossibleValue;

use crate::cli::terminal::format::Outcome;
use crate::figures::sql::{AnswerForm, Question, answer};
use crate::shared::report;
use crate::workspace::Workspace;
use scouting::failure::Failure;

/// Query the tables with read-only SQL
#[derive(Debug, clap::Args)]
#[command(
    after_help = "Examples:\n  bractline sql \"select county_name, median_class from county_week where iso_week = '2026-W30'\"\n  bractline sql --format csv \"select county_id, count(*) as visits from visits group by county_id\"\n  bractline sql --format arrow --out visits.arrow \"select * from current_visits\"\n\nPrivate tables: visits (all revisions), current_visits (the visits that count: of each its highest revision, unless that withdraws the visit), units, held, held_closed, receipts, alerts (rows that count), and, rolled up when they are named, field_week, county_week_full (every county and week, with every figure) and county_week_effort (its visits, sites and units). Public tables, of the rows that were issued or exported: county_week, elsewhere_week, district_week, region_week, region_median, region_stage, sample_point. One query at a time; it can read these tables and nothing else. The answer is written as a whole or not at all. An answer based on a private table is private. With --store-version the tables are those of that version, with the rows that were public of it or of an earlier one; alerts has the alerts from it or an earlier one, and records dropped by hand since count as dropped."
)]
pub(crate) struct Sql {
    /// One SELECT statement
    #[arg(value_name = "QUERY")]
    query: String,

    /// Memory limit of the query, in megabytes
    #[arg(long, value_name = "MB", default_value_t = 1024, value_parser = clap::value_parser!(u32).range(16..))]
    memory_mb: u32,

    /// Query timeout, in seconds
    #[arg(long, value_name = "SECONDS", default_value_t = 60, value_parser = clap::value_parser!(u32).range(1..))]
    seconds: u32,

    /// From this version of the store, with the settings of today
    #[arg(long, value_name = "VERSION")]
    store_version: Option<i64>,

    /// Output file; required by --format parquet and arrow. A file with rows of private tables is for its owner alone
    #[arg(long, value_name = "FILE")]
    out: Option<PathBuf>,

    /// Output format
    #[arg(long, value_enum, default_value = "text")]
    format: AnswerForm,
}

impl ValueEnum for AnswerForm {
    fn value_variants<'a>() -> &'a [AnswerForm] {
        &[
            AnswerForm::Text,
            AnswerForm::Json,
            AnswerForm::Csv,
            AnswerForm::Parquet,
            AnswerForm::Arrow,
        ]
    }

    fn to_possible_value(&self) -> Option<PossibleValue> {
        let (name, help) = match self {
            AnswerForm::Text => ("text", "A table for people"),
            AnswerForm::Json => ("json", "A JSON array of objects"),
            AnswerForm::Csv => ("csv", "CSV with a line of names, each text as it is stored"),
            AnswerForm::Parquet => ("parquet", "A Parquet file (zstd)"),
            AnswerForm::Arrow => (
                "arrow",
                "An Arrow file (IPC file format), for pyarrow, R, DuckDB or Polars",
            ),
        };
        Some(PossibleValue::new(name).help(help))
    }
}

impl Sql {
    pub(super) async fn run(self, workspace: &Workspace) -> Result<Outcome, Failure> {
        let asked = Question {
            query: self.query,
            memory_mb: self.memory_mb,
            seconds: self.seconds,
            store_version: self.store_version,
            form: self.format,
            out: self.out,
        };
        if let Some(text) = answer(workspace, &asked).await? {
            report::say(&text)?;
        }
        Ok(Outcome::Done)
    }
}
