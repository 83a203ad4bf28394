//! `bractline load`: submissions into the store.

use std::path::PathBuf;

use indicatif::{ProgressBar, ProgressStyle};
use jiff::Timestamp;

use super::tables::TableColumns;
use crate::cli::terminal::format::{Format, Outcome};
use crate::load::each::{LoadOptions, load_each};
use crate::load::sender::sender_name;
use crate::load::submissions::{Accounts, Submissions};
use crate::shared::report::counted;
use crate::workspace::Workspace;
use scouting::failure::{Failure, Kind};

/// Load submissions into the store: records, spreadsheets, count sheets, folders of them
#[derive(Debug, clap::Args)]
#[command(
    after_help = "Examples:\n  bractline load submissions/week30.ndjson\n  bractline load inbox/ --format json\n  bractline load north.xlsx --mapping north.toml\n  bractline load old/ --season 2024\n  zcat week30.ndjson.gz | bractline load -\n\nA folder is loaded with the folders in it. A mapping file there is for the tables of its folder and of those below, up to the next one. Archives (.zip) and the attachments of mails (.eml) are opened. Pictures, PDFs and texts are passed over.\n\nEach record ends as accepted, duplicate or held, and is counted once. A file that cannot be loaded is refused with its reason, and the others are loaded. Exit 0: done; 1: failed (no file could be loaded, or the store failed and what was reported before is loaded); 3: done, but some records were held (`bractline held list`) or some files refused."
)]
pub(crate) struct Load {
    /// Files, folders of files, or - for standard input
    #[arg(required = true, value_name = "FILE")]
    files: Vec<PathBuf>,

    #[command(flatten)]
    columns: TableColumns,

    /// Who sent the files [default: as the mapping says, or the first folder within a FOLDER]
    #[arg(long, value_name = "NAME", value_parser = sender_name)]
    sender: Option<String>,

    /// Output format
    #[arg(long, value_enum, default_value = "text")]
    format: Format,
}

impl Load {
    pub(super) async fn run(self, workspace: &Workspace) -> Result<Outcome, Failure> {
        let columns = self.columns.read(&self.files)?;
        let submissions = Submissions::look_at(&self.files)?;
        let bar = progress(&submissions);
        let options = LoadOptions {
            columns,
            sender: self.sender,
            earlier_seasons: self.columns.season,
            supersedes: self.columns.supersede,
            stores: true,
            rows_shown: None,
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
            // What is loaded is loaded, even if the store failed at a later submission.
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
    if let Some(failure) = accounts.only_refusal() {
        return Err(failure);
    }
    format.say(accounts, || accounts.text(verb))?;
    outcome_of(accounts, verb)
}

/// What a run over files came to, after its report.
pub(super) fn outcome_of(accounts: &Accounts, verb: &str) -> Result<Outcome, Failure> {
    if let Some(failure) = accounts.only_refusal() {
        return Err(failure);
    }
    if accounts.is_empty() {
        let files = counted(accounts.file_count() as u64, "file", "files");
        return Err(
            Failure::new(Kind::Submission, format!("none of {files} could be {verb}"))
                .mend("the report names what each of them is; nothing was changed"),
        );
    }
    Ok(match accounts.sum().held + accounts.refused_count() {
        0 => Outcome::Done,
        _ => Outcome::DoneWithHeld,
    })
}

/// A bar over the files, on a terminal only.
fn progress(submissions: &Submissions) -> ProgressBar {
    let bar = ProgressBar::new(submissions.found.len() as u64);
    let style = ProgressStyle::with_template("{bar:30} {pos}/{len} {msg}")
        .unwrap_or_else(|_| ProgressStyle::default_bar());
    bar.with_style(style)
}
