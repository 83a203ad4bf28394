//! The records that are held: as lines of a list, and as files that go back to their senders.

use std::collections::BTreeMap;
use std::path::Path;

use super::correction_sheet::in_columns;
use super::record::{ReturnForm, ReturnedRecord};
use super::returned::files_of_sender;
use crate::shared::files::write_private_folder;
use crate::shared::report::counted;
use crate::workspace::Workspace;
use crate::workspace::contacts::Contacts;
use crate::workspace::open::open_store;
use scouting::failure::{Failure, Kind};
use store::ledger::drop::Decision;
use store::ledger::held::{HeldEntry, HeldRecord, Sender, open_records};

/// `2 records are held`.
pub(crate) fn are_held(records: usize) -> String {
    counted(records as u64, "record is held", "records are held")
}

fn entry_text(entry: &HeldEntry) -> String {
    format!(
        "{} {} line {} ({}, {}{})",
        entry.held_id,
        entry.file_name,
        entry.line,
        entry.visit_id.as_deref().unwrap_or("visit unknown"),
        entry.observer_id.as_deref().unwrap_or("scout unknown"),
        (entry.submitted_by.as_deref()).map_or_else(String::new, |name| format!(", from {name}"))
    )
}

/// Writes the files that go back to the senders; what to say of them.
///
/// Every file is made before the folder is: it appears whole, or not at all.
pub(crate) async fn send_back(
    workspace: &Workspace,
    out: &Path,
    form: ReturnForm,
) -> Result<String, Failure> {
    if std::fs::read_dir(out).is_ok_and(|mut entries| entries.next().is_some()) {
        return Err(Failure::new(
            Kind::Files,
            format!("cannot export to {}: it is not empty", out.display()),
        )
        .mend(
            "name a new folder: letters of an earlier export must not be mixed with the new ones",
        ));
    }
    let contacts = Contacts::read(workspace)?;
    let records = open_records(&open_store(workspace).await?).await?;
    if records.is_empty() {
        return Ok("no record is held: nothing to send back".to_owned());
    }
    let mut said = Vec::new();
    let mut files = Vec::new();
    for (sender, records) in by_sender(records) {
        let named = unlike_others(&sender);
        let contact = contacts.of(sender.name());
        let of_sender = files_of_sender(&named, &records, form, contact)?;
        let names: Vec<&str> = of_sender.iter().map(|(name, _)| name.as_str()).collect();
        said.push(format!(
            "{named}: {} → {}",
            counted(records.len() as u64, "record", "records"),
            names.join(", ")
        ));
        files.extend(of_sender);
    }
    let files: Vec<(&str, &[u8])> = files
        .iter()
        .map(|(name, bytes)| (name.as_str(), bytes.as_slice()))
        .collect();
    write_private_folder(out, &files)?;
    said.push(format!("in {}", out.display()));
    Ok(said.join("\n"))
}

/// A sender's name for files: a sender, a scout and a file may bear one name.
fn unlike_others(sender: &Sender) -> String {
    match sender {
        Sender::Named(name) => format!("from {name}"),
        Sender::Observer(name) => name.clone(),
        Sender::File(name) => format!("file {name}"),
    }
}

/// The held records for people, each with its reasons.
pub(crate) fn records_text(records: &[HeldRecord]) -> String {
    let mut lines = vec![are_held(records.len())];
    for record in records {
        lines.push(entry_text(&record.entry));
        let findings = record.entry.findings.iter();
        lines.extend(findings.map(|finding| format!("  {finding}")));
    }
    lines.join("\n")
}

/// What was done to which records, by whom and why, for people: `dropped`, `would drop`.
pub(crate) fn decided_text(done: &str, records: &[HeldEntry], decision: Decision<'_>) -> String {
    let sum = counted(records.len() as u64, "record", "records");
    let mut lines = vec![format!(
        "{done} {sum} ({}: {})",
        decision.who, decision.reason
    )];
    lines.extend(records.iter().map(entry_text));
    lines.join("\n")
}

/// Senders in the order of their names, their records in the order of arrival.
fn by_sender(records: Vec<HeldRecord>) -> Vec<(Sender, Vec<ReturnedRecord>)> {
    let mut senders: BTreeMap<Sender, Vec<ReturnedRecord>> = Default::default();
    for HeldRecord { entry, record } in records {
        senders
            .entry(entry.sender())
            .or_default()
            .push(ReturnedRecord {
                held_id: entry.held_id.to_string(),
                file_name: entry.file_name,
                line: entry.line,
                visit_id: entry.visit_id,
                rows: in_columns(&record, &entry.findings),
                findings: entry.findings,
                record,
            });
    }
    senders.into_iter().collect()
}
