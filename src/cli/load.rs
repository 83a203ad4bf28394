//! `bractline load`: submissions into the store.

use std::path::PathBuf;

use indicatif::{ProgressBar, ProgressStyle};
use jiff::Timestamp;

use super::format::{Format, Outcome};
use crate::load::each::{LoadOptions, load_each};
use crate::load::submissions::{Accounts, Submissions};
use crate::workspace::Workspace;
use intake::mapping::Mapping;
use scouting::failure::Failure;
use scouting::plain_file::{SETTINGS_BYTES_MAX, read_plain_text};

/// Load submissions into the store: records, spreadsheets, count sheets, folders of them
#[derive(Debug, clap::Args)]
#[command(
    after_help = "Examples:\n  bractline load submissions/week30.ndjson\n  bractline load inbox/ --format json\n  bractline load north.xlsx --mapping north.toml\n  bractline load old/ --season 2024\n  zcat week30.ndjson.gz | bractline load -\n\nEach record ends as accepted, duplicate or held, and is counted once. Exit 0: done; 1: failed (the submissions reported before it are loaded); 3: done, but some records were held (`bractline held list`)."
)]
pub struct Load {
    /// Files, folders of files, or - for standard input
    #[arg(required = true, value_name = "FILE")]
    files: Vec<PathBuf>,

    #[command(flatten)]
    columns: Columns,

    /// Output format
    #[arg(long, value_enum, default_value = "text")]
    format: Format,
}

/// What the columns of spreadsheets are, and of which seasons.
#[derive(Debug, Default, clap::Args)]
pub(super) struct Columns {
    /// Mapping file (TOML) for spreadsheets in layouts of your own; every FILE must then be a table
    #[arg(long, value_name = "FILE")]
    mapping: Option<PathBuf>,

    /// Submission time of the records of spreadsheets, if no column has it (RFC 3339)
    #[arg(long, value_name = "TIME", requires = "mapping")]
    submitted_at: Option<String>,

    /// Year of an earlier season whose visits are taken on purpose; may be repeated
    #[arg(long, value_name = "YEAR")]
    pub(super) season: Vec<i16>,
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
        let bar = progress(&submissions);
        let options = LoadOptions {
            mapping: self.columns.mapping()?,
            earlier_seasons: self.columns.season.clone(),
            now: Timestamp::now,
            begun: |name: &str| {
                if !bar.message().is_empty() {
                    bar.inc(1);
                }
                bar.set_message(name.to_owned());
            },
        };
        let mut accounts = Accounts::default();
        let ended = load_each(workspace, &submissions, options, &mut accounts).await;
        bar.finish_and_clear();
        match ended {
            Err(failure) if accounts.is_empty() => Err(failure),
            // What is loaded is loaded, even if a later submission stopped the run.
            ended => {
                let reported = say_accounts(&accounts, "loaded", self.format);
                ended?;
                reported
            }
        }
    }
}

/// Reports accounts; `verb` is what was done: `loaded` or `checked`.
pub(super) fn say_accounts(
    accounts: &Accounts,
    verb: &str,
    format: Format,
) -> Result<Outcome, Failure> {
    format.say(accounts, || accounts.text(verb))?;
    Ok(match accounts.sum().held {
        0 => Outcome::Done,
        _ => Outcome::DoneWithHeld,
    })
}

/// A bar over the submissions, on a terminal only.
fn progress(submissions: &Submissions) -> ProgressBar {
    let bar = ProgressBar::new(submissions.files.len() as u64);
    let style = ProgressStyle::with_template("{bar:30} {pos}/{len} {msg}")
        .unwrap_or_else(|_| ProgressStyle::default_bar());
    bar.with_style(style)
}
