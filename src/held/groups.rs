//! Held records counted by sender, file and reason, for `bractline held list`.

use std::collections::BTreeMap;

use serde::Serialize;

use super::desk::are_held;
use crate::shared::report::{counted, grouped};
use crate::shared::unseen::plain_text;
use scouting::visit::code::Code;
use store::ledger::held::{HeldEntry, Sender};

/// Open held records by sender.
#[derive(Debug, Serialize)]
pub(crate) struct Grouped {
    /// All of them.
    open: usize,
    senders: Vec<OfSender>,
}

#[derive(Debug, Serialize)]
struct OfSender {
    #[serde(flatten)]
    sender: Sender,
    records: usize,
    files: Vec<OfFile>,
}

#[derive(Debug, Serialize)]
struct OfFile {
    file_name: String,
    records: usize,
    /// Records with each reason; a record may have several.
    reasons: BTreeMap<Code, usize>,
}

impl Grouped {
    /// Counts the records.
    pub(crate) fn of(entries: &[HeldEntry]) -> Grouped {
        let mut senders: BTreeMap<Sender, BTreeMap<&str, Vec<&HeldEntry>>> = BTreeMap::new();
        for entry in entries {
            let files = senders.entry(entry.sender()).or_default();
            files.entry(&entry.file_name).or_default().push(entry);
        }
        let senders = senders.into_iter().map(|(sender, files)| OfSender {
            sender,
            records: files.values().map(Vec::len).sum(),
            files: files
                .into_iter()
                .map(|(file_name, entries)| OfFile {
                    file_name: file_name.to_owned(),
                    records: entries.len(),
                    reasons: reasons(&entries),
                })
                .collect(),
        });
        Grouped {
            open: entries.len(),
            senders: senders.collect(),
        }
    }
}

fn reasons(entries: &[&HeldEntry]) -> BTreeMap<Code, usize> {
    let mut reasons = BTreeMap::new();
    for entry in entries {
        let mut codes: Vec<Code> = entry.findings.iter().map(|finding| finding.code).collect();
        codes.sort_unstable();
        codes.dedup();
        for code in codes {
            *reasons.entry(code).or_default() += 1;
        }
    }
    reasons
}

/// The groups for people.
pub(crate) fn grouped_text(groups: &Grouped) -> String {
    let records = |count: usize| counted(count as u64, "record", "records");
    let mut lines = vec![are_held(groups.open)];
    for sender in &groups.senders {
        let name = match &sender.sender {
            // A name that a terminal would obey is shown without what it would obey.
            Sender::Named(name) | Sender::Observer(name) => plain_text(name),
            Sender::File(_) => "scout unknown".to_owned(),
        };
        lines.push(format!("{name}: {}", records(sender.records)));
        for file in &sender.files {
            lines.push(format!(
                "  {}: {}",
                plain_text(&file.file_name),
                records(file.records)
            ));
            let reasons = file.reasons.iter();
            lines.extend(
                reasons.map(|(code, count)| format!("    {code}: {}", grouped(*count as u64))),
            );
        }
    }
    if groups.open > 0 {
        lines.push(
            "`held list --all` shows each; `held export --out DIR` makes a spreadsheet and a letter for each sender"
                .to_owned(),
        );
    }
    lines.join("\n")
}
