//! What an undo does, for people.

use super::undo::Undone;
use crate::shared::report::{LISTED_MAX, counted, grouped};
use crate::shared::unseen::plain_text;

/// The account of an undo, done or looked at.
pub(crate) fn undo_text(undone: &Undone) -> String {
    let load = &undone.load;
    let what = match (undone.takes_back, &undone.undo) {
        (true, Some(_)) => "took back",
        (true, None) => "would take back",
        (false, Some(_)) => "brought back",
        (false, None) => "would bring back",
    };
    let sender = load
        .sender
        .as_deref()
        .map_or_else(String::new, |name| format!(" from {name}"));
    let day = jiff::tz::Offset::UTC.to_datetime(load.received_at).date();
    let mut lines = vec![format!(
        "{what} load {} ({}{sender}, {day})",
        load.load_id,
        plain_text(&load.file_name)
    )];
    if let Some(undo) = &undone.undo {
        lines.push(format!("this undo is load {undo}"));
    }
    lines.extend(visit_lines(undone));
    if !undone.left.is_empty() {
        let visits = counted(
            undone.left.len() as u64,
            "visit stays as it is",
            "visits stay as they are",
        );
        lines.push(format!(
            "{visits}: a higher revision came with another load"
        ));
        let left = undone.left.iter().map(|left| {
            format!(
                "  {}: revision {} of load {}",
                plain_text(&left.visit_id),
                left.revision,
                left.load_id
            )
        });
        lines.extend(in_short(left));
    }
    if !undone.closed.is_empty() {
        let records = counted(undone.closed.len() as u64, "held record", "held records");
        lines.push(format!("{records} of the load closed"));
    }
    if undone.takes_back && load.closed > 0 {
        let records = counted(load.closed, "held record", "held records");
        lines.push(format!("{records} that the load had closed open again"));
    }
    lines.join("\n")
}

fn visit_lines(undone: &Undone) -> Vec<String> {
    let withdrawn = undone
        .changes
        .iter()
        .filter(|change| change.content_of.is_none())
        .count();
    let restored = undone.changes.len() - withdrawn;
    let mut lines = vec![format!(
        "{}: {} withdrawn, {} with the content of another revision",
        counted(
            undone.changes.len() as u64,
            "visit gets a new revision",
            "visits get a new revision"
        ),
        grouped(withdrawn as u64),
        grouped(restored as u64)
    )];
    let changes = undone.changes.iter().map(|change| {
        let becomes = match change.content_of {
            Some(revision) => format!("has the content of revision {revision}"),
            None => "withdraws it".to_owned(),
        };
        format!(
            "  {}: revision {} {becomes}",
            plain_text(&change.visit_id),
            change.revision
        )
    });
    lines.extend(in_short(changes));
    lines
}

/// The first lines, and how many more there are.
fn in_short(lines: impl ExactSizeIterator<Item = String>) -> Vec<String> {
    let more = lines.len().saturating_sub(LISTED_MAX);
    let mut shown: Vec<String> = lines.take(LISTED_MAX).collect();
    if more > 0 {
        shown.push(format!(
            "  … and {} more; --format json lists all",
            grouped(more as u64)
        ));
    }
    shown
}
