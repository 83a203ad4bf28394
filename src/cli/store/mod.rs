//! `bractline store`: care of the kept tables.

mod vacuum;

use jiff::Timestamp;

use crate::cli::terminal::format::{Format, Outcome};
use crate::workspace::Workspace;
use crate::workspace::bucket::store_of;
use crate::workspace::care::{check_whole, compact_text, info_text, verify_text};
use crate::workspace::open::open_store;
use scouting::failure::Failure;
use store::delta::compact::compact;
use store::delta::store_figures::figures;
use store::delta::verification::verify;
use vacuum::VacuumCommand;

/// Maintain the data store
#[derive(Debug, clap::Subcommand)]
pub(crate) enum StoreCommand {
    /// Show what the store holds
    #[command(after_help = "Example:\n  bractline store info --format json")]
    Info {
        /// Output format
        #[arg(long, value_enum, default_value = "text")]
        format: Format,
    },
    /// Compare every file with the log, and every receipt with the rows that it claims
    #[command(
        after_help = "Example:\n  bractline store verify\n\nEvery file's size, rows and bytes (SHA-256) are compared with what the log of its table says, and each damaged one is named with the load whose rows it holds. Exit 1 if anything is wrong."
    )]
    Verify {
        /// Output format
        #[arg(long, value_enum, default_value = "text")]
        format: Format,
    },
    /// Merge the many small files that loads leave, season by season
    #[command(
        after_help = "Examples:\n  bractline store compact --dry-run\n  bractline store compact\n\nChanges no row and no figure, and may run while loads and readers do. The old files stay on the disk until `bractline store vacuum` removes them; those of the receipts stay, since issued alerts name their versions."
    )]
    Compact {
        /// Dry run: show what would be merged, and change nothing
        #[arg(long)]
        dry_run: bool,

        /// Output format
        #[arg(long, value_enum, default_value = "text")]
        format: Format,
    },
    /// Remove files that no version needs, and leftovers of interrupted commands
    Vacuum(VacuumCommand),
}

impl StoreCommand {
    pub(in crate::cli) async fn run(self, workspace: &Workspace) -> Result<Outcome, Failure> {
        match self {
            StoreCommand::Compact { dry_run, format } => {
                let store = open_store(workspace).await?;
                let together = compact(&store, Timestamp::now(), dry_run).await?;
                let json = serde_json::json!({ "dry_run": dry_run, "together": together });
                format.say(&json, || compact_text(&together, dry_run))
            }
            StoreCommand::Vacuum(command) => command.run(workspace).await,
            StoreCommand::Info { format } => {
                let figures = figures(&open_store(workspace).await?).await?;
                format.say(&figures, || info_text(&figures))
            }
            StoreCommand::Verify { format } => {
                // What is broken is to be reported, not stumbled over.
                let verification = verify(&store_of(workspace)?).await?;
                format.say(&verification, || verify_text(&verification))?;
                check_whole(&verification).map(|()| Outcome::Done)
            }
        }
    }
}
