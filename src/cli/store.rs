//! `bractline store`: care of the kept tables.

use super::report::{self, counted, grouped};
use super::{Format, Outcome, open_store};
use crate::failure::{Failure, Kind};
use crate::store::care::{StoreFigures, Verification, figures, verify};
use crate::workspace::Workspace;

/// Look after the kept tables
#[derive(Debug, clap::Subcommand)]
pub enum StoreCommand {
    /// What the store holds
    #[command(after_help = "Example:\n  bractline store info --format json")]
    Info {
        /// How to report
        #[arg(long, value_enum, default_value = "text")]
        format: Format,
    },
    /// Read every file and compare every receipt with the rows that it claims
    #[command(after_help = "Example:\n  bractline store verify\n\nExit 1 if anything is wrong.")]
    Verify {
        /// How to report
        #[arg(long, value_enum, default_value = "text")]
        format: Format,
    },
}

impl StoreCommand {
    pub(super) async fn run(self, workspace: &Workspace) -> Result<Outcome, Failure> {
        let store = open_store(workspace).await?;
        match self {
            StoreCommand::Info { format } => {
                let figures = figures(&store).await?;
                match format {
                    Format::Json => report::say_json(&figures)?,
                    Format::Text => report::say(&info_text(&figures))?,
                }
            }
            StoreCommand::Verify { format } => {
                let verification = verify(&store).await?;
                match format {
                    Format::Json => report::say_json(&verification)?,
                    Format::Text => report::say(&verify_text(&verification))?,
                }
                if !verification.problems.is_empty() {
                    return Err(damaged(&verification));
                }
            }
        }
        Ok(Outcome::Done)
    }
}

fn info_text(figures: &StoreFigures) -> String {
    let count = |value: i64| grouped(value.unsigned_abs());
    let mut lines = vec![
        format!("store version {}", figures.version),
        format!(
            "{}: {} received = {} accepted + {} duplicate + {} held",
            counted(
                figures.submissions.unsigned_abs(),
                "submission",
                "submissions"
            ),
            count(figures.received),
            count(figures.accepted),
            count(figures.duplicate),
            count(figures.received - figures.accepted - figures.duplicate),
        ),
        format!(
            "{} visits are current; of {} records that were held {} are open, {} mended, {} replaced, {} dropped",
            count(figures.current_visits),
            count(figures.held),
            count(figures.held_open),
            count(figures.held_mended),
            count(figures.held_replaced),
            count(figures.held_dropped),
        ),
    ];
    for table in &figures.tables {
        lines.push(format!(
            "  {:<11} version {}, {} in {}",
            table.name,
            table.version,
            counted(table.rows.unsigned_abs(), "row", "rows"),
            counted(table.files as u64, "file", "files"),
        ));
    }
    lines.join("\n")
}

fn verify_text(verification: &Verification) -> String {
    let receipts = counted(verification.receipts as u64, "receipt", "receipts");
    let mut lines = vec![format!(
        "store version {}: {receipts} compared",
        verification.version
    )];
    if verification.unfinished_loads > 0 {
        let loads = counted(
            verification.unfinished_loads.unsigned_abs(),
            "load",
            "loads",
        );
        lines.push(format!(
            "{loads} broken off: their rows have no receipt and do not count"
        ));
    }
    lines.extend(
        verification
            .problems
            .iter()
            .map(|problem| format!("problem: {problem}")),
    );
    if verification.problems.is_empty() {
        lines.push("whole: every receipt has exactly the rows that it claims".to_owned());
    }
    lines.join("\n")
}

fn damaged(verification: &Verification) -> Failure {
    let problems = counted(verification.problems.len() as u64, "problem", "problems");
    Failure::new(Kind::Damaged, format!("the store is not whole: {problems}")).mend(
        "restore the named files from a backup, or load the named submissions into a new workspace",
    )
}
