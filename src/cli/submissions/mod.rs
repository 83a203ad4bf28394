//! `bractline submissions`: what was loaded, and the way back.

mod undo;

use clap::ValueEnum;
use jiff::civil::Date;

use crate::cli::terminal::format::Outcome;
use crate::load::sender::sender_name;
use crate::shared::report;
use crate::submissions::list::{Which, list_csv, list_text, listed};
use crate::workspace::Workspace;
use crate::workspace::open::open_weeks;
use scouting::failure::Failure;
use scouting::visit::week::NamedWeek;
use undo::Undo;

/// The submissions that were loaded: list them, take one back
#[derive(Debug, clap::Subcommand)]
pub(super) enum Submissions {
    /// List submissions by sender, day and file, with what became of their records
    #[command(
        after_help = "Examples:\n  bractline submissions list\n  bractline submissions list --sender north --since 2026-08-01\n  bractline submissions list --week 2026-W33 --format csv > week33.csv\n\nThe list is private: it names senders and files. Days are those of UTC."
    )]
    List {
        /// Only those of this sender
        #[arg(long, value_name = "NAME", value_parser = sender_name)]
        sender: Option<String>,
        /// Only those received on this day or later
        #[arg(long, value_name = "DAY")]
        since: Option<Date>,
        /// Only those that brought visits of this week, as 2026-W33 or a day of it
        #[arg(long, value_name = "WEEK")]
        week: Option<NamedWeek>,
        /// Only those that brought visits of this season
        #[arg(long, value_name = "YEAR")]
        season: Option<i32>,
        /// How to report
        #[arg(long, value_enum, default_value = "text")]
        format: ListFormat,
    },
    /// Take back all that a submission brought
    #[command(
        after_help = "Examples:\n  bractline submissions undo 0198c2f1 --reason \"loaded with the wrong mapping\"\n  bractline submissions undo 0198c2f1 --reason \"loaded with the wrong mapping\" --yes\n\nWithout --yes it shows what would change and changes nothing, unless you say yes on a terminal. Nothing is erased: each visit gets a new revision, with the content that it had without the submission, or one that withdraws it. Held records that came with the submission are closed; those that it closed are open again. The undo is a load of its own: undo that, and the submission is back. Its records can be sent and loaded again at any time."
    )]
    Undo(Undo),
}

/// How a list is reported.
#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
pub(super) enum ListFormat {
    /// For people.
    Text,
    /// For programs: a JSON array.
    Json,
    /// For spreadsheets.
    Csv,
}

impl Submissions {
    pub(in crate::cli) async fn run(self, workspace: &Workspace) -> Result<Outcome, Failure> {
        match self {
            Submissions::List {
                sender,
                since,
                week,
                season,
                format,
            } => {
                let weeks = open_weeks(workspace).await?;
                let week = week.map(|week| week.among(&weeks).to_string());
                let which = Which {
                    sender,
                    since,
                    weeks,
                    week,
                    season,
                };
                let listed = listed(workspace, &which).await?;
                match format {
                    ListFormat::Text => report::say(&list_text(&listed))?,
                    ListFormat::Json => report::say_json(&listed)?,
                    ListFormat::Csv => report::say(&list_csv(&listed)?)?,
                }
                Ok(Outcome::Done)
            }
            Submissions::Undo(undo) => undo.run(workspace).await,
        }
    }
}
