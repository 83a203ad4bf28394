//! `bractline store`: care of the kept tables.

use jiff::Timestamp;

use super::vacuum::VacuumCommand;
use super::{Format, Outcome, open_store, store_of};
use crate::failure::{Failure, Kind};
use crate::shared::report;
use crate::shared::report::{counted, grouped};
use crate::store::care::{StoreFigures, Verification, figures, verify};
use crate::store::compact::{Together, compact};
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
    /// Compare every file with the log, and every receipt with the rows that it claims
    #[command(
        after_help = "Example:\n  bractline store verify\n\nEvery file's size, rows and bytes (SHA-256) are compared with what the log of its table says, and each\ndamaged one is named with the load whose rows it holds. Exit 1 if anything is wrong."
    )]
    Verify {
        /// How to report
        #[arg(long, value_enum, default_value = "text")]
        format: Format,
    },
    /// Put the many small files that loads leave together, season by season
    #[command(
        after_help = "Examples:\n  bractline store compact --dry-run\n  bractline store compact\n\nChanges no row and no figure, and may run beside loads and readers. The old files stay on the disk\nuntil `bractline store vacuum` removes them; those of the receipts stay, since issued alerts name\ntheir versions."
    )]
    Compact {
        /// Say what would be put together, and change nothing
        #[arg(long)]
        dry_run: bool,

        /// How to report
        #[arg(long, value_enum, default_value = "text")]
        format: Format,
    },
    /// Remove files that no version needs, and what killed commands left
    Vacuum(VacuumCommand),
}

impl StoreCommand {
    pub(super) async fn run(self, workspace: &Workspace) -> Result<Outcome, Failure> {
        match self {
            StoreCommand::Compact { dry_run, format } => {
                let store = open_store(workspace).await?;
                let together = compact(&store, Timestamp::now(), dry_run).await?;
                match format {
                    Format::Json => report::say_json(
                        &serde_json::json!({ "dry_run": dry_run, "together": together }),
                    )?,
                    Format::Text => report::say(&compact_text(&together, dry_run))?,
                }
            }
            StoreCommand::Vacuum(command) => return command.run(workspace).await,
            StoreCommand::Info { format } => {
                let figures = figures(&open_store(workspace).await?).await?;
                match format {
                    Format::Json => report::say_json(&figures)?,
                    Format::Text => report::say(&info_text(&figures))?,
                }
            }
            StoreCommand::Verify { format } => {
                // What is broken is to be told, not stumbled over.
                let verification = verify(&store_of(workspace)?).await?;
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
        "store version {}: {} and {receipts} compared",
        verification.version,
        counted(verification.files as u64, "file", "files"),
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
        lines.push(
            "whole: every file has the bytes that were written, and every receipt exactly the rows that it claims"
                .to_owned(),
        );
    }
    lines.join("\n")
}

fn compact_text(together: &[Together], dry_run: bool) -> String {
    if together.is_empty() {
        return "nothing to put together".to_owned();
    }
    let lines = together.iter().map(|group| {
        let season = group
            .season
            .map_or_else(String::new, |season| format!(" {season}"));
        let said = match dry_run {
            true => "would become one".to_owned(),
            false => format!(
                "→ {} with {}",
                group.files_after,
                report::in_bytes(group.bytes_after.unwrap_or_default())
            ),
        };
        format!(
            "{}{season}: {} with {} and {} {said}",
            group.table,
            counted(group.files_before as u64, "file", "files"),
            counted(group.rows.unsigned_abs(), "row", "rows"),
            report::in_bytes(group.bytes_before),
        )
    });
    lines.collect::<Vec<_>>().join("\n")
}

fn damaged(verification: &Verification) -> Failure {
    let problems = counted(verification.problems.len() as u64, "problem", "problems");
    Failure::new(Kind::Damaged, format!("the store is not whole: {problems}")).mend(
        "restore the named files from a backup, or load the named submissions into a new workspace",
    )
}
