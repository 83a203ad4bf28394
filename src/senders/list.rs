//! The senders of a season, with their last submission and their visits by week.

use std::collections::{BTreeMap, BTreeSet};

use jiff::Timestamp;
use jiff::tz::Offset;
use serde::Serialize;

use crate::shared::report::counted;
use crate::shared::unseen::plain_text;
use crate::workspace::Workspace;
use crate::workspace::open::open_store;
use scouting::failure::Failure;
use scouting::visit::week::{IsoWeek, Weeks};
use store::delta::snapshot::Snapshot;
use store::ledger::held::Sender;
use store::ledger::reports::{Reports, all_reports};

/// A sender in a season.
#[derive(Debug, Serialize)]
pub(crate) struct SeasonSender {
    #[serde(flatten)]
    pub(crate) sender: Sender,
    /// When its last visits of the season were received.
    #[serde(serialize_with = "as_text")]
    pub(crate) last_received: Timestamp,
    /// Visits by week; revisions of one visit are one.
    pub(crate) visits_by_week: BTreeMap<String, usize>,
}

/// What the senders of a workspace reported.
pub(crate) async fn reports_of(workspace: &Workspace, weeks: &Weeks) -> Result<Reports, Failure> {
    let snapshot = Snapshot::open(&open_store(workspace).await?, 1).await?;
    all_reports(&snapshot, weeks).await
}

/// The newest season that anybody reported, if there is one.
pub(crate) fn newest_season(reports: &Reports) -> Option<i32> {
    reports.visits.iter().map(|visit| visit.week.season()).max()
}

/// The senders of a season, by name.
pub(crate) fn season_senders(reports: &Reports, season: i32) -> Vec<SeasonSender> {
    let mut senders: BTreeMap<&Sender, (Timestamp, BTreeMap<IsoWeek, BTreeSet<&str>>)> =
        BTreeMap::new();
    for visit in reports
        .visits
        .iter()
        .filter(|visit| visit.week.season() == season)
    {
        let (last, weeks) = senders
            .entry(&visit.sender)
            .or_insert_with(|| (visit.received_at, BTreeMap::new()));
        *last = visit.received_at.max(*last);
        weeks.entry(visit.week).or_default().insert(&visit.visit_id);
    }
    let senders = senders
        .into_iter()
        .map(|(sender, (last_received, weeks))| SeasonSender {
            sender: sender.clone(),
            last_received,
            visits_by_week: weeks
                .into_iter()
                .map(|(week, visits)| (week.to_string(), visits.len()))
                .collect(),
        });
    senders.collect()
}

/// The senders for people.
pub(crate) fn senders_text(season: Option<i32>, senders: &[SeasonSender]) -> String {
    let Some(season) = season else {
        return "nobody has reported yet".to_owned();
    };
    let mut lines = vec![format!(
        "{} in {season}",
        counted(senders.len() as u64, "sender", "senders")
    )];
    for sender in senders {
        let day = Offset::UTC.to_datetime(sender.last_received).date();
        let weeks = sender.visits_by_week.iter();
        let weeks: Vec<String> = weeks
            .map(|(week, visits)| {
                format!(
                    "{} {visits}",
                    week.split_once('-').map_or("", |(_, week)| week)
                )
            })
            .collect();
        lines.push(format!(
            "{}: last received {day}; visits by week: {}",
            named(&sender.sender),
            weeks.join(", ")
        ));
    }
    lines.join("\n")
}

/// A sender's name, with what it is where the sender is not known.
pub(crate) fn named(sender: &Sender) -> String {
    match sender {
        Sender::Named(name) => plain_text(name),
        Sender::Observer(name) => format!("scout {}", plain_text(name)),
        Sender::File(name) => format!("file {}", plain_text(name)),
    }
}

fn as_text<S: serde::Serializer>(moment: &Timestamp, serializer: S) -> Result<S::Ok, S::Error> {
    serializer.collect_str(moment)
}
