//! What each sender reported: every accepted revision that a sender brought, and every record that was held.
//!
//! Undos, edits and loads taken back are left out: they say nothing of a sender.

use std::collections::HashSet;

use jiff::Timestamp;
use jiff::civil::Date;
use serde::Deserialize;

use crate::delta::snapshot::Snapshot;
use crate::ledger::held::Sender;
use crate::ledger::loads::{Load, all_loads, taken_back};
use crate::rows::decode;
use crate::rows::query_rows::rows;
use scouting::failure::Failure;
use scouting::visit::week::{IsoWeek, Weeks};

/// A revision that a sender brought.
#[derive(Debug, Clone)]
pub struct ReportedVisit {
    /// Who sent it; the scout, where that is not known.
    pub sender: Sender,
    /// Pseudonym of the scout.
    pub observer_id: String,
    /// Identity of the visit.
    pub visit_id: String,
    /// Its week.
    pub week: IsoWeek,
    /// Id of the protocol.
    pub protocol: String,
    /// Day of the visit.
    pub observed_on: Date,
    /// When the record was handed in, as it says.
    pub submitted_at: Timestamp,
    /// Whether it raised a doubt.
    pub flagged: bool,
    /// Whether it is a withdrawal.
    pub retracted: bool,
    /// When it was received.
    pub received_at: Timestamp,
}

/// A record that was held.
#[derive(Debug, Clone)]
pub struct ReportedHeld {
    /// Who sent it; the scout or the file, where that is not known.
    pub sender: Sender,
    /// Pseudonym of the scout, if it could be read.
    pub observer_id: Option<String>,
    /// When it was received.
    pub received_at: Timestamp,
}

/// All that senders reported.
#[derive(Debug, Default)]
pub struct Reports {
    /// Accepted revisions.
    pub visits: Vec<ReportedVisit>,
    /// Records that were held, be they open or closed now.
    pub held: Vec<ReportedHeld>,
}

#[derive(Deserialize)]
struct VisitRow {
    load_id: String,
    sender: Option<String>,
    observer_id: String,
    visit_id: String,
    protocol: String,
    #[serde(deserialize_with = "decode::day")]
    observed_on: Date,
    #[serde(deserialize_with = "decode::moment")]
    submitted_at: Timestamp,
    flagged: bool,
    retracted: bool,
    #[serde(deserialize_with = "decode::moment")]
    received_at: Timestamp,
}

#[derive(Deserialize)]
struct HeldRow {
    load_id: String,
    sender: Option<String>,
    observer_id: Option<String>,
    file_name: String,
    #[serde(deserialize_with = "decode::moment")]
    received_at: Timestamp,
}

/// What senders reported, in no order.
///
/// # Errors
/// A [`Failure`] if the store cannot be read.
pub async fn all_reports(snapshot: &Snapshot, weeks: &Weeks) -> Result<Reports, Failure> {
    let loads = all_loads(snapshot).await?;
    let taken_back = taken_back(&loads);
    // An edit says who made it, and so does an undo.
    let of_senders =
        |load: &&Load| load.who.is_none() && !taken_back.contains(load.load_id.as_str());
    let counted: HashSet<&str> = loads
        .iter()
        .filter(of_senders)
        .map(|load| load.load_id.as_str())
        .collect();
    let session = snapshot.session();
    let visits: Vec<VisitRow> = rows(
        session,
        "select v.load_id, v.sender, v.observer_id, v.visit_id, v.protocol, v.observed_on, \
           v.submitted_at, v.flags is not null as flagged, v.retracted, r.received_at \
         from visits v inner join receipts r on v.load_id = r.load_id",
    )
    .await?;
    let held: Vec<HeldRow> = rows(
        session,
        "select h.load_id, h.sender, h.observer_id, h.file_name, r.received_at \
         from held h inner join receipts r on h.load_id = r.load_id",
    )
    .await?;
    Ok(Reports {
        visits: (visits.into_iter())
            .filter(|row| counted.contains(row.load_id.as_str()))
            .map(|row| row.read(weeks))
            .collect(),
        held: (held.into_iter())
            .filter(|row| counted.contains(row.load_id.as_str()))
            .map(HeldRow::read)
            .collect(),
    })
}

impl VisitRow {
    fn read(self, weeks: &Weeks) -> ReportedVisit {
        ReportedVisit {
            sender: Sender::of(self.sender, Some(&self.observer_id), ""),
            observer_id: self.observer_id,
            visit_id: self.visit_id,
            week: weeks.of(self.observed_on),
            protocol: self.protocol,
            observed_on: self.observed_on,
            submitted_at: self.submitted_at,
            flagged: self.flagged,
            retracted: self.retracted,
            received_at: self.received_at,
        }
    }
}

impl HeldRow {
    fn read(self) -> ReportedHeld {
        ReportedHeld {
            sender: Sender::of(self.sender, self.observer_id.as_deref(), &self.file_name),
            observer_id: self.observer_id,
            received_at: self.received_at,
        }
    }
}
