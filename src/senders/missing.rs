//! Who has not reported a week: those who reported in its season or are in the contact list, without those who
//! reported the week.

use std::collections::{BTreeMap, BTreeSet};
use std::path::Path;

use super::list::named;
use super::missing_letter::missing_letter;
use super::missing_sender::{Asked, MissingSender};
use crate::held::returned::safe_name;
use crate::shared::files::write_private_folder;
use crate::shared::report::counted;
use crate::workspace::contacts::Contacts;
use scouting::failure::{Failure, Kind};
use scouting::visit::week::{IsoWeek, Weeks};
use store::ledger::held::{HeldEntry, Sender};
use store::ledger::reports::Reports;

/// The senders who have not reported, by name.
pub(crate) fn missing(
    asked: &Asked,
    reports: &Reports,
    contacts: &Contacts,
    held: &[HeldEntry],
) -> Vec<MissingSender> {
    let protocol = asked.protocol.as_deref();
    let mut last_weeks: BTreeMap<Sender, BTreeSet<IsoWeek>> = BTreeMap::new();
    for visit in &reports.visits {
        let is_asked_for = protocol.is_none_or(|protocol| visit.protocol == protocol);
        if visit.week.season() == asked.week.season() && is_asked_for {
            let weeks = last_weeks.entry(visit.sender.clone()).or_default();
            weeks.insert(visit.week);
        }
    }
    for contact in contacts.all() {
        if protocol.is_none_or(|protocol| contact.is_asked_for(protocol)) {
            let sender = Sender::Named(contact.sender.clone());
            // A scout whose sender is not known may be in the list by the pseudonym.
            let scout = Sender::Observer(contact.sender.clone());
            if !last_weeks.contains_key(&scout) {
                last_weeks.entry(sender).or_default();
            }
        }
    }
    let without = last_weeks
        .into_iter()
        .filter(|(_, weeks)| !weeks.contains(&asked.week));
    let missing = without.map(|(sender, weeks)| MissingSender {
        last_week: weeks
            .range(..asked.week)
            .next_back()
            .map(IsoWeek::to_string),
        held: held.iter().filter(|entry| entry.sender() == sender).count(),
        contact: contacts.of(sender.name()).cloned(),
        sender,
    });
    missing.collect()
}

/// Who is missing, for people.
pub(crate) fn missing_text(asked: &Asked, missing: &[MissingSender]) -> String {
    let of_protocol = asked
        .protocol
        .as_deref()
        .map_or_else(String::new, |id| format!(" ({id})"));
    let senders = counted(missing.len() as u64, "sender has", "senders have");
    let mut lines = vec![format!(
        "{senders} not reported {}{of_protocol}",
        asked.week
    )];
    for sender in missing {
        let last = match &sender.last_week {
            Some(week) => format!("last reported {week}"),
            None => "has not reported before this season".to_owned(),
        };
        let mut line = format!("{}: {last}", named(&sender.sender));
        if sender.held > 0 {
            line += &format!(
                "; {} on hold",
                counted(sender.held as u64, "record", "records")
            );
        }
        if let Some(email) = sender
            .contact
            .as_ref()
            .and_then(|contact| contact.email.as_deref())
        {
            line += &format!("; {email}");
        }
        lines.push(line);
    }
    lines.join("\n")
}

/// Writes a letter to each of them into a new folder that only its owner can read; what to say of it.
///
/// # Errors
/// If the folder has files in it, or cannot be written.
pub(crate) fn write_letters(
    folder: &Path,
    asked: &Asked,
    missing: &[MissingSender],
    weeks: &Weeks,
) -> Result<String, Failure> {
    if std::fs::read_dir(folder).is_ok_and(|mut entries| entries.next().is_some()) {
        let what = format!(
            "cannot write letters to {}: it is not empty",
            folder.display()
        );
        return Err(Failure::new(Kind::Files, what)
            .mend("name a new folder, so that no letter of another week is sent"));
    }
    if missing.is_empty() {
        return Ok("no letter is needed".to_owned());
    }
    let letters: Vec<(String, String)> = missing
        .iter()
        .map(|sender| {
            let name = safe_name(&named(&sender.sender));
            (
                format!("{name}.letter.txt"),
                missing_letter(asked, sender, weeks),
            )
        })
        .collect();
    let files: Vec<(&str, &[u8])> = letters
        .iter()
        .map(|(name, letter)| (name.as_str(), letter.as_bytes()))
        .collect();
    write_private_folder(folder, &files)?;
    let letters = counted(letters.len() as u64, "letter", "letters");
    Ok(format!("{letters} in {}", folder.display()))
}
