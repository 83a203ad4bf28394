//! `bractline check`: what `load` would say, storing nothing.

use std::path::PathBuf;

use jiff::Timestamp;

use super::format::{Format, Outcome};
use super::load::say_accounts;
use super::tables::TableColumns;
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
    after_help = "Examples:\n  bractline check submissions/week30.ndjson\n  bractline check north.xlsx --mapping north.toml\n  bractline check --suggest north.xlsx > north.toml"
)]
pub(crate) struct Check {
    /// Files, folders of files, or - for standard input
    #[arg(required = true, value_name = "FILE")]
    files: Vec<PathBuf>,

    #[command(flatten)]
    columns: TableColumns,

    /// Draft a mapping for the first file instead, for you to confirm; it is never applied by itself
    #[arg(long, conflicts_with = "mapping")]
    suggest: bool,

    /// Output format
    #[arg(long, value_enum, default_value = "text")]
    format: Format,
}

impl Check {
    pub(super) async fn run(self, workspace: &Workspace) -> Result<Outcome, Failure> {
        let columns = self.columns.read(&self.files)?;
        let submissions = Submissions::look_at(&self.files)?;
        if let (true, Some(file)) = (self.suggest, submissions.first()) {
            report::say(suggest(&read_sheets(&as_table(file)?)?).trim_end())?;
            return Ok(Outcome::Done);
        }
        let options = LoadOptions {
            columns,
            sender: None,
            earlier_seasons: self.columns.season,
            supersedes: self.columns.supersede,
            stores: false,
            now: Timestamp::now,
            begun: |_: &str| {},
        };
        let mut accounts = Accounts::default();
        load_each(workspace, &submissions, options, &mut accounts).await?;
        say_accounts(&accounts, "checked", self.format)
    }
}
