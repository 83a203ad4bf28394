//! `bractline check`: what `load` would say, storing nothing.

use std::path::PathBuf;

use jiff::Timestamp;

use super::load::open_loader;
use super::submissions::{Accounts, Submissions};
use super::{Format, Outcome};
use crate::failure::Failure;
use crate::workspace::Workspace;

/// Say what `load` would say, storing nothing
#[derive(Debug, clap::Args)]
#[command(after_help = "Example:\n  bractline check submissions/week30.ndjson")]
pub struct Check {
    /// Files, folders of files, or - for standard input
    #[arg(required = true, value_name = "FILE")]
    files: Vec<PathBuf>,

    /// How to report
    #[arg(long, value_enum, default_value = "text")]
    format: Format,
}

impl Check {
    pub(super) async fn run(self, workspace: &Workspace) -> Result<Outcome, Failure> {
        let submissions = Submissions::look_at(&self.files)?;
        let mut loader = open_loader(workspace).await?;
        let mut accounts = Accounts::default();
        for file in &submissions.files {
            accounts.add(loader.check(file, Timestamp::now()).await?);
        }
        accounts.report("checked", self.format)
    }
}
