//! `bractline submissions`: what was loaded, and the way back.

use clap::ValueEnum;
use jiff::Timestamp;
use jiff::civil::Date;

use super::confirm::{NOTHING_CHANGED, confirmed};
use super::format::{Format, Outcome};
use super::who::Deciding;
use crate::load::sender::sender_name;
use crate::shared::report;
use crate::submissions::list::{Which, list_csv, list_text, listed};
use crate::submissions::undo::{Undoing, preview, undo};
use crate::submissions::undo_text::undo_text;
use crate::workspace::Workspace;
use scouting::failure::Failure;
use scouting::visit::week::IsoWeek;

/// The submissions that were loaded: list them, take one back
#[derive(Debug, clap::Subcommand)]
pub enum Submissions {
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
        /// Only those that brought visits of this week
        #[arg(long, value_name = "WEEK")]
        week: Option<IsoWeek>,
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
    Undo {
        /// Id of the load, or its first 8 characters or more (`submissions list`)
        #[arg(value_name = "LOAD")]
        load: String,
        #[command(flatten)]
        deciding: Deciding,
        /// Do it; without it what would change is shown
        #[arg(long)]
        yes: bool,
        /// How to report
        #[arg(long, value_enum, default_value = "text")]
        format: Format,
    },
}

/// How a list is reported.
#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
pub enum ListFormat {
    /// For people.
    Text,
    /// For programs: a JSON array.
    Json,
    /// For spreadsheets.
    Csv,
}

impl Submissions {
    pub(super) async fn run(self, workspace: &Workspace) -> Result<Outcome, Failure> {
        match self {
            Submissions::List {
                sender,
                since,
                week,
                season,
                format,
            } => {
                let week = week.map(|week| week.to_string());
                let which = Which {
                    sender,
                    since,
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
            Submissions::Undo {
                load,
                deciding,
                yes,
                format,
            } => {
                let undoing = Undoing {
                    load,
                    who: deciding.who(),
                    reason: deciding.reason,
                    now: Timestamp::now(),
                };
                if !yes {
                    let would = preview(workspace, &undoing).await?;
                    format.say(&would, || undo_text(&would))?;
                    if !confirmed(false, "Do it?")? {
                        report::note(NOTHING_CHANGED);
                        return Ok(Outcome::Done);
                    }
                }
                let undone = undo(workspace, &undoing).await?;
                format.say(&undone, || undo_text(&undone))
            }
        }
    }
}
