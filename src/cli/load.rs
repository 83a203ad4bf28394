//! `bractline load`: submissions into the store.

use std::path::PathBuf;

use jiff::Timestamp;

use super::submissions::{Accounts, Submissions, progress};
use super::{Format, Outcome, open_catalogue, open_region, open_store, workers};
use crate::failure::Failure;
use crate::intake::judge::Judge;
use crate::intake::load::Loader;
use crate::workspace::Workspace;

/// Take in submissions: JSON and NDJSON, plain or gzip
#[derive(Debug, clap::Args)]
#[command(
    after_help = "Examples:\n  bractline load submissions/week30.ndjson\n  bractline load inbox/ --format json\n  zcat week30.ndjson.gz | bractline load -\n\nEach record ends as accepted, duplicate or held, and is counted once. Exit 0: done; 1: failed (the\nsubmissions reported before it are loaded); 3: done, but some records were held (`bractline held list`)."
)]
pub struct Load {
    /// Files, folders of files, or - for standard input
    #[arg(required = true, value_name = "FILE")]
    files: Vec<PathBuf>,

    /// How to report
    #[arg(long, value_enum, default_value = "text")]
    format: Format,
}

impl Load {
    pub(super) async fn run(self, workspace: &Workspace) -> Result<Outcome, Failure> {
        let submissions = Submissions::look_at(&self.files)?;
        let mut accounts = Accounts::default();
        match load_each(workspace, &submissions, &mut accounts).await {
            Err(failure) if accounts.is_empty() => Err(failure),
            // What is loaded is loaded, even if a later submission stopped the run.
            ended => {
                let reported = accounts.report("loaded", self.format);
                ended?;
                reported
            }
        }
    }
}

/// Loads submissions one after the other.
pub(super) async fn load_all(
    workspace: &Workspace,
    submissions: &Submissions,
) -> Result<Accounts, Failure> {
    let mut accounts = Accounts::default();
    load_each(workspace, submissions, &mut accounts).await?;
    Ok(accounts)
}

/// Loads submissions one after the other, with an account of each that was loaded.
async fn load_each(
    workspace: &Workspace,
    submissions: &Submissions,
    accounts: &mut Accounts,
) -> Result<(), Failure> {
    let mut loader = open_loader(workspace).await?;
    let bar = progress(submissions);
    for file in &submissions.files {
        bar.set_message(file.name.clone());
        accounts.add(loader.load(file, Timestamp::now()).await?);
        bar.inc(1);
    }
    bar.finish_and_clear();
    Ok(())
}

/// A loader with all that a workspace says.
pub(super) async fn open_loader(workspace: &Workspace) -> Result<Loader, Failure> {
    let judge = Judge::new(
        &open_catalogue(workspace)?,
        open_region(workspace)?,
        workspace.season()?,
        workspace.settings().defaults.clone(),
    )?;
    let held_doubts = workspace.settings().doubts.hold.clone();
    Loader::new(open_store(workspace).await?, judge, held_doubts, workers()).await
}
