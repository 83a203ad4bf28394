//! `bractline visit`: one visit, shown or changed.

use jiff::Timestamp;

use super::who::Deciding;
use crate::cli::terminal::format::{Format, Outcome};
use crate::visits::edit::{Edit, edit, preview};
use crate::visits::setting::Setting;
use crate::visits::show::shown;
use crate::workspace::Workspace;
use scouting::failure::Failure;

/// One visit: show its revisions, change its values
#[derive(Debug, clap::Subcommand)]
pub(super) enum Visit {
    /// Show all revisions of a visit: values, flags, senders, loads, and where it counts
    #[command(
        after_help = "Examples:\n  bractline visit show V-2026-0412\n  bractline visit show V-2026-0412 --format json"
    )]
    Show {
        /// Id of the visit
        #[arg(value_name = "ID")]
        id: String,
        /// How to report
        #[arg(long, value_enum, default_value = "text")]
        format: Format,
    },
    /// Change values of a visit by a new revision, saying why
    #[command(
        after_help = "Examples:\n  bractline visit edit V-2026-0412 --set /field/area_ha=65 --reason \"area by telephone\" --by \"county office\"\n  bractline visit edit V-2026-0412 --set /sites/0/heads/2/4=3 --reason \"misread digit\" --dry-run\n  bractline visit edit V-2026-0412 --remove /remarks --reason \"names a person\"\n\nThe new revision is judged as every submission is, and refused if it would be held. The revision before stays. Places in lists count from 0. To take an edit back: bractline submissions undo LOAD."
    )]
    Edit {
        /// Id of the visit
        #[arg(value_name = "ID")]
        id: String,
        /// A member by its JSON Pointer, and its new value
        #[arg(long = "set", value_name = "/POINTER=VALUE", value_parser = Setting::read, required_unless_present = "remove")]
        set: Vec<Setting>,
        /// An optional member to take out
        #[arg(long, value_name = "/POINTER", value_parser = Setting::removal)]
        remove: Vec<Setting>,
        #[command(flatten)]
        deciding: Deciding,
        /// Show what would change, and change nothing
        #[arg(long)]
        dry_run: bool,
        /// How to report
        #[arg(long, value_enum, default_value = "text")]
        format: Format,
    },
}

impl Visit {
    pub(super) async fn run(self, workspace: &Workspace) -> Result<Outcome, Failure> {
        match self {
            Visit::Show { id, format } => {
                let visit = shown(workspace, &id).await?;
                format.say(&visit, || visit.text())
            }
            Visit::Edit {
                id,
                set,
                remove,
                deciding,
                dry_run,
                format,
            } => {
                let asked = Edit {
                    visit_id: id,
                    settings: set.into_iter().chain(remove).collect(),
                    who: deciding.who(),
                    reason: deciding.reason,
                    now: Timestamp::now(),
                };
                let edited = match dry_run {
                    true => preview(workspace, &asked).await?,
                    false => edit(workspace, &asked).await?,
                };
                format.say(&edited, || edited.text())
            }
        }
    }
}
