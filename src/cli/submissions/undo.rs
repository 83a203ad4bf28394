//! `bractline submissions undo`: all that a submission brought, taken back.

use jiff::Timestamp;

use crate::cli::terminal::confirm::{NOTHING_CHANGED, confirmed};
use crate::cli::terminal::format::{Format, Outcome};
use crate::cli::who::Deciding;
use crate::shared::report;
use crate::submissions::undo::{Undoing, preview, undo};
use crate::submissions::undo_text::undo_text;
use crate::workspace::Workspace;
use scouting::failure::Failure;

#[derive(Debug, clap::Args)]
pub(crate) struct Undo {
    /// Id of the load, or its first 8 characters or more (`submissions list`)
    #[arg(value_name = "LOAD")]
    load: String,

    #[command(flatten)]
    deciding: Deciding,

    /// Do it; without it what would change is shown, and on a terminal you are asked
    #[arg(long)]
    yes: bool,

    /// How to report
    #[arg(long, value_enum, default_value = "text")]
    format: Format,
}

impl Undo {
    pub(in crate::cli) async fn run(self, workspace: &Workspace) -> Result<Outcome, Failure> {
        let undoing = Undoing {
            load: self.load,
            who: self.deciding.who(),
            reason: self.deciding.reason,
            now: Timestamp::now(),
        };
        if !self.yes {
            let would = preview(workspace, &undoing).await?;
            self.format.say(&would, || undo_text(&would))?;
            if !confirmed("Do it?")? {
                report::note(NOTHING_CHANGED);
                return Ok(Outcome::Done);
            }
        }
        let undone = undo(workspace, &undoing).await?;
        self.format.say(&undone, || undo_text(&undone))
    }
}
