//! `bractline store vacuum`: room on the disk, taken from what nothing needs any more.

use jiff::Timestamp;

use crate::cli::terminal::format::{Format, Outcome};
use crate::workspace::Workspace;
use crate::workspace::vacuum::{VacuumOptions, vacuum_workspace};
use scouting::failure::Failure;

/// Remove files that no version needs, and leftovers of interrupted commands
#[derive(Debug, clap::Args)]
#[command(
    after_help = "Examples:\n  bractline store vacuum --dry-run\n  bractline store vacuum --older-than 24\n\nRemoves files from the disk that left the tables longer ago than --older-than, leftover files of interrupted commands, and folders of alerts whose issue was interrupted; and takes rows of loads that were interrupted that long ago out of the tables. What counts stays: every issued alert can still be built again. Safe while loads and readers run that take less time than --older-than."
)]
pub(crate) struct VacuumCommand {
    /// Minimum age of what is removed, in hours
    #[arg(long, value_name = "HOURS", default_value_t = 168)]
    older_than: u32,

    /// Assert that no other command is running in this workspace; --older-than may then be 0
    #[arg(long)]
    alone: bool,

    /// Dry run: show what would be removed, and remove nothing
    #[arg(long)]
    dry_run: bool,

    /// Output format
    #[arg(long, value_enum, default_value = "text")]
    format: Format,
}

impl VacuumCommand {
    pub(in crate::cli) async fn run(self, workspace: &Workspace) -> Result<Outcome, Failure> {
        let options = VacuumOptions {
            older_than_hours: self.older_than,
            alone: self.alone,
            dry_run: self.dry_run,
        };
        let vacuumed = vacuum_workspace(workspace, options, Timestamp::now()).await?;
        self.format.say(&vacuumed, || vacuumed.text(workspace))
    }
}
