//! `bractline load`: submissions into the store.

use std::path::PathBuf;

use jiff::Timestamp;

use super::submissions::{Accounts, Submissions, progress};
use super::{Format, Outcome, open_catalogue, open_region, open_store, report, workers};
use crate::failure::Failure;
use crate::intake::judge::Judge;
use crate::intake::load::Loader;
use crate::intake::mapping::Mapping;
use crate::plain_file::{SETTINGS_BYTES_MAX, read_plain_text};
use crate::workspace::Workspace;

/// So many loads that were not put together yet cost a further one 2 s (7 ms each: `tests/benches/RESULTS.md`).
const LOADS_THAT_SLOW: usize = 300;

/// Take in submissions: records, spreadsheets, count sheets, folders of them
#[derive(Debug, clap::Args)]
#[command(
    after_help = "Examples:\n  bractline load submissions/week30.ndjson\n  bractline load inbox/ --format json\n  bractline load north.xlsx --mapping north.toml\n  zcat week30.ndjson.gz | bractline load -\n\nEach record ends as accepted, duplicate or held, and is counted once. Exit 0: done; 1: failed (the\nsubmissions reported before it are loaded); 3: done, but some records were held (`bractline held list`)."
)]
pub struct Load {
    /// Files, folders of files, or - for standard input
    #[arg(required = true, value_name = "FILE")]
    files: Vec<PathBuf>,

    #[command(flatten)]
    columns: Columns,

    /// How to report
    #[arg(long, value_enum, default_value = "text")]
    format: Format,
}

/// What the columns of spreadsheets are.
#[derive(Debug, Default, clap::Args)]
pub(super) struct Columns {
    /// Mapping file (TOML) for spreadsheets that are not of our own layouts; every FILE must be a table then
    #[arg(long, value_name = "FILE")]
    mapping: Option<PathBuf>,

    /// When the records of the spreadsheets were handed in, where no column says so (RFC 3339)
    #[arg(long, value_name = "TIME", requires = "mapping")]
    submitted_at: Option<String>,
}

impl Columns {
    /// The mapping that was named, read and checked.
    pub(super) fn mapping(&self) -> Result<Option<Mapping>, Failure> {
        let Some(path) = &self.mapping else {
            return Ok(None);
        };
        let text = read_plain_text(path, SETTINGS_BYTES_MAX)?;
        let mapping = Mapping::read(&text, &path.display().to_string())?;
        match &self.submitted_at {
            Some(instant) => mapping.with_submitted_at(instant).map(Some),
            None => Ok(Some(mapping)),
        }
    }
}

impl Load {
    pub(super) async fn run(self, workspace: &Workspace) -> Result<Outcome, Failure> {
        let submissions = Submissions::look_at(&self.files)?;
        let mapping = self.columns.mapping()?;
        let mut accounts = Accounts::default();
        match load_each(workspace, &submissions, mapping, &mut accounts).await {
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
    load_each(workspace, submissions, None, &mut accounts).await?;
    Ok(accounts)
}

/// Loads submissions one after the other, with an account of each that was loaded.
async fn load_each(
    workspace: &Workspace,
    submissions: &Submissions,
    mapping: Option<Mapping>,
    accounts: &mut Accounts,
) -> Result<(), Failure> {
    let mut loader = open_loader(workspace).await?.with_mapping(mapping);
    let bar = progress(submissions);
    for file in &submissions.files {
        bar.set_message(file.name.clone());
        accounts.add(loader.load(file, Timestamp::now()).await?);
        bar.inc(1);
    }
    bar.finish_and_clear();
    if let Some(advice) = advice(loader.receipt_files()) {
        report::note(&advice);
    }
    Ok(())
}

/// What to do about a store of many small files.
fn advice(receipt_files: usize) -> Option<String> {
    (receipt_files >= LOADS_THAT_SLOW).then(|| {
        format!(
            "{} loads stand in files of their own; `bractline store compact` puts them together, and every command \
             is quick again",
            report::grouped(receipt_files as u64)
        )
    })
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

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_store_of_many_small_loads_is_told_of_compact() {
        assert_eq!(advice(LOADS_THAT_SLOW - 1), None);
        let told = advice(2_000).expect("many loads");
        assert!(told.contains("2,000") && told.contains("store compact"));
    }
}
