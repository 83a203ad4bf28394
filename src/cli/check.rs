//! `bractline check`: what `load` would say, storing nothing.

use std::path::PathBuf;

use clap::ValueEnum;
use jiff::Timestamp;

use super::load::{outcome_of, say_accounts};
use super::tables::TableColumns;
use crate::cli::terminal::format::{Format, Outcome};
use crate::load::each::{LoadOptions, load_each};
use crate::load::submissions::{Accounts, Submissions};
use crate::shared::report;
use crate::workspace::Workspace;
use intake::mapping::suggest;
use intake::read::no_table::as_table;
use intake::read::sheets::read_sheets;
use scouting::failure::Failure;

/// Validate submissions without loading them (dry run)
#[derive(Debug, clap::Args)]
#[command(
    after_help = "Examples:\n  bractline check submissions/week30.ndjson\n  bractline check --suggest north.xlsx > north.toml\n  bractline check north.xlsx --mapping north.toml --rows\n  bractline check north.xlsx --mapping north.toml --rows all --format csv > rows.csv"
)]
pub(crate) struct Check {
    /// Files, folders of files, or - for standard input
    #[arg(required = true, value_name = "FILE")]
    files: Vec<PathBuf>,

    #[command(flatten)]
    columns: TableColumns,

    /// Draft a mapping for the first file instead, for you to complete; it is never applied by itself, and refused while one of its questions is open. Needs no workspace
    #[arg(long, conflicts_with_all = ["mapping", "rows", "format"])]
    suggest: bool,

    /// Show the first visits as they would be stored, and what becomes of each column: 5, another number, or all. Name the files first
    #[arg(long, value_name = "N", num_args = 0..=1, default_missing_value = "5", value_parser = rows_shown)]
    rows: Option<usize>,

    /// Output format
    #[arg(long, value_enum, default_value = "text", requires_if("csv", "rows"))]
    format: CheckFormat,
}

/// How a check reports.
#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
enum CheckFormat {
    /// For people
    Text,
    /// For programs: one JSON object
    Json,
    /// The visits of --rows as CSV, one a line
    Csv,
}

impl Check {
    /// Whether a mapping is drafted, which needs no workspace.
    pub(super) fn only_suggests(&self) -> bool {
        self.suggest
    }

    /// Drafts a mapping for the first file.
    pub(super) fn suggest(self) -> Result<Outcome, Failure> {
        let submissions = Submissions::look_at(&self.files)?;
        let file = submissions.first_or_refusal()?;
        let draft = suggest(&read_sheets(&as_table(file)?, None)?, &file.name);
        report::say(draft.trim_end())?;
        Ok(Outcome::Done)
    }

    pub(super) async fn run(self, workspace: &Workspace) -> Result<Outcome, Failure> {
        let columns = self.columns.read(&self.files)?;
        let submissions = Submissions::look_at(&self.files)?;
        let options = LoadOptions {
            columns,
            sender: None,
            earlier_seasons: self.columns.season,
            supersedes: self.columns.supersede,
            stores: false,
            rows_shown: self.rows,
            now: Timestamp::now,
            begun: |_: &str| {},
        };
        let mut accounts = Accounts::default();
        load_each(workspace, &submissions, options, &mut accounts).await?;
        match self.format {
            CheckFormat::Text => say_accounts(&accounts, "checked", Format::Text),
            CheckFormat::Json => say_accounts(&accounts, "checked", Format::Json),
            CheckFormat::Csv => {
                report::say(accounts.rows_csv()?.trim_end())?;
                outcome_of(&accounts, "checked")
            }
        }
    }
}

/// A number of rows, or all.
fn rows_shown(text: &str) -> Result<usize, String> {
    match text {
        "all" => Ok(usize::MAX),
        _ => (text.parse().ok()).filter(|rows| *rows > 0).ok_or_else(|| {
            "it is neither a number nor all; name the files before --rows".to_owned()
        }),
    }
}
