//! What the commands that look after the store say, in words.

use crate::shared::report;
use crate::shared::report::{counted, grouped};
use scouting::failure::{Failure, Kind};
use store::delta::compact::Together;
use store::delta::store_figures::StoreFigures;
use store::delta::verification::Verification;

pub(crate) fn info_text(figures: &StoreFigures) -> String {
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
            "{} visits are current; of {} records that were held {} are open, {} corrected, {} replaced, {} dropped, {} \
             undone",
            count(figures.current_visits),
            count(figures.held),
            count(figures.held_open),
            count(figures.held_corrected),
            count(figures.held_replaced),
            count(figures.held_dropped),
            count(figures.held_undone),
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

pub(crate) fn verify_text(verification: &Verification) -> String {
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
            "{loads} interrupted: their rows have no receipt and do not count"
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
            "undamaged: every file has the bytes that were written, and every receipt exactly the rows that it claims"
                .to_owned(),
        );
    }
    lines.join("\n")
}

pub(crate) fn compact_text(together: &[Together], dry_run: bool) -> String {
    if together.is_empty() {
        return "nothing to merge".to_owned();
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

/// # Errors
/// A [`Failure`] if the store is not whole.
pub(crate) fn check_whole(verification: &Verification) -> Result<(), Failure> {
    if verification.problems.is_empty() {
        return Ok(());
    }
    let problems = counted(verification.problems.len() as u64, "problem", "problems");
    Err(
        Failure::new(Kind::Damaged, format!("the store is damaged: {problems}")).mend(
            "restore the named files from a backup, or load the named submissions into a new workspace",
        ),
    )
}
