//! A visit with all of its revisions: what each says, who sent it, when and with which load, and where it counts.

use std::collections::HashMap;

use jiff::tz::Offset;
use serde::Serialize;

use super::leaves::{Difference, differences, leaves};
use crate::shared::report::counted;
use crate::shared::unseen::plain_text;
use crate::workspace::Workspace;
use crate::workspace::open::{open_store, open_weeks};
use scouting::failure::{Failure, Kind};
use scouting::visit::record::Visit;
use scouting::visit::week::Weeks;
use store::delta::snapshot::Snapshot;
use store::ledger::held::{HeldEntry, entries_of};
use store::ledger::loads::{Load, all_loads};
use store::rows::visit_records::StoredRevision;

/// A visit as the store has it.
#[derive(Debug, Serialize)]
pub(crate) struct ShownVisit {
    visit_id: String,
    /// Where its highest revision counts; `None` if that withdraws the visit.
    counts_in: Option<CountsIn>,
    revisions: Vec<ShownRevision>,
    /// Held records of the visit that are open.
    held: Vec<HeldEntry>,
}

/// Where a visit counts.
#[derive(Debug, Serialize)]
struct CountsIn {
    iso_week: String,
    county_id: String,
    protocol: String,
    field_id: String,
    /// Every visit of the field that counts in this week under this protocol.
    visits_of_field: Vec<String>,
}

#[derive(Debug, Serialize)]
struct ShownRevision {
    revision: u32,
    revision_sent: Option<u32>,
    sender: Option<String>,
    line: u64,
    flags: Option<String>,
    assumed: Option<String>,
    load: Option<Load>,
    /// Values that the revision before has otherwise.
    changed: Vec<Difference>,
    record: Visit,
}

/// The visit of an id.
///
/// # Errors
/// If there is none.
pub(crate) async fn shown(workspace: &Workspace, visit_id: &str) -> Result<ShownVisit, Failure> {
    let snapshot = Snapshot::open(&open_store(workspace).await?, 1).await?;
    let revisions = snapshot.revisions_of_visit(visit_id).await?;
    let mut held = entries_of(&snapshot).await?;
    held.retain(|entry| entry.visit_id.as_deref() == Some(visit_id));
    let Some(current) = revisions.last() else {
        return Err(no_such_visit(visit_id, held.len()));
    };
    let counts_in = match current.visit.retracted == Some(true) {
        true => None,
        false => Some(counts_in(&snapshot, current, &open_weeks(workspace).await?).await?),
    };
    let loads = all_loads(&snapshot).await?;
    let mut loads: HashMap<String, Load> = loads
        .into_iter()
        .map(|load| (load.load_id.clone(), load))
        .collect();
    let mut shown: Vec<ShownRevision> = Vec::new();
    for stored in revisions {
        let before = shown.last();
        let load = match loads.remove(&stored.load_id) {
            Some(load) => Some(load),
            // One load may bring two revisions of a visit.
            None => before.and_then(|before| before.load.clone()),
        };
        shown.push(ShownRevision {
            revision: stored.visit.revision,
            revision_sent: stored.revision_sent,
            sender: stored.sender,
            line: stored.line,
            flags: stored.flags,
            assumed: stored.assumed,
            load,
            changed: before.map_or_else(Vec::new, |before| {
                differences(&before.record, &stored.visit)
            }),
            record: stored.visit,
        });
    }
    Ok(ShownVisit {
        visit_id: visit_id.to_owned(),
        counts_in,
        revisions: shown,
        held,
    })
}

async fn counts_in(
    snapshot: &Snapshot,
    current: &StoredRevision,
    weeks: &Weeks,
) -> Result<CountsIn, Failure> {
    let visit = &current.visit;
    let week = weeks.of(visit.observed_on);
    let days = (weeks.first_day(week), weeks.last_day(week));
    let (field_id, protocol) = (&visit.field.field_id, &visit.protocol);
    let visits_of_field = snapshot.visits_of_field(field_id, protocol, days).await?;
    Ok(CountsIn {
        county_id: current.county_id.clone(),
        protocol: protocol.clone(),
        field_id: field_id.clone(),
        iso_week: week.to_string(),
        visits_of_field,
    })
}

/// The refusal of an id that no stored visit has.
pub(crate) fn no_such_visit(visit_id: &str, held: usize) -> Failure {
    let failure = Failure::new(Kind::Settings, format!("no visit has the id {visit_id:?}"));
    match held {
        0 => failure.mend("ids are told apart by case and spaces; `bractline sql \"select visit_id from visits\"` lists them"),
        held => failure.mend(format!(
            "{} of this visit on hold: `bractline held list --all`",
            counted(held as u64, "record is", "records are")
        )),
    }
}

impl ShownVisit {
    /// The visit for people.
    pub(crate) fn text(&self) -> String {
        let mut lines = vec![format!("visit {}", plain_text(&self.visit_id))];
        match &self.counts_in {
            None => lines.push("it is withdrawn and counts nowhere".to_owned()),
            Some(counts) => lines.extend(counts.lines()),
        }
        for record in &self.held {
            lines.push(format!(
                "on hold: {} in {}",
                record.held_id,
                plain_text(&record.file_name)
            ));
        }
        for (place, revision) in self.revisions.iter().enumerate() {
            lines.extend(revision.lines(place + 1 == self.revisions.len()));
        }
        lines.join("\n")
    }
}

impl CountsIn {
    fn lines(&self) -> Vec<String> {
        let mut lines = vec![format!(
            "it counts in week {} of county {}, protocol {}",
            self.iso_week, self.county_id, self.protocol
        )];
        if self.visits_of_field.len() > 1 {
            let visits: Vec<String> = self
                .visits_of_field
                .iter()
                .map(|id| plain_text(id))
                .collect();
            lines.push(format!(
                "field {} has {} visits in that week: {}; the last one within the stage window that follows no treatment is used",
                plain_text(&self.field_id),
                visits.len(),
                visits.join(", ")
            ));
        }
        lines
    }
}

impl ShownRevision {
    fn lines(&self, current: bool) -> Vec<String> {
        let state = match (current, self.record.retracted == Some(true)) {
            (true, true) => "current, withdraws the visit",
            (true, false) => "current",
            (false, _) => "superseded",
        };
        let mut lines = vec![format!("revision {} ({state})", self.revision)];
        if let Some(sent) = self.revision_sent {
            lines.push(format!(
                "  sent as revision {sent}, whose number a load taken back had used"
            ));
        }
        lines.extend(self.load.iter().flat_map(|load| self.origin(load)));
        lines.extend(self.flags.iter().map(|flags| format!("  flags: {flags}")));
        lines.extend(
            self.assumed
                .iter()
                .map(|assumed| format!("  assumed: {assumed}")),
        );
        if current {
            let values = leaves(&self.record);
            lines.extend(
                values
                    .iter()
                    .map(|(pointer, value)| format!("  {pointer}: {}", plain_text(value))),
            );
        }
        if !self.changed.is_empty() {
            lines.push("  changed from the revision before:".to_owned());
        }
        lines.extend(
            self.changed
                .iter()
                .map(|changed| format!("    {}", changed.text())),
        );
        lines
    }

    fn origin(&self, load: &Load) -> Vec<String> {
        let sender = self
            .sender
            .as_deref()
            .map_or_else(String::new, |name| format!(" from {}", plain_text(name)));
        let day = Offset::UTC.to_datetime(load.received_at).date();
        let mut lines = vec![format!(
            "  {day}{sender}, {} line {}, load {}",
            plain_text(&load.file_name),
            self.line,
            load.load_id
        )];
        if let (Some(who), Some(reason)) = (&load.who, &load.reason) {
            lines.push(format!("  by {}: {}", plain_text(who), plain_text(reason)));
        }
        lines
    }
}
