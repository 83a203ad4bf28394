//! The list of submissions: by sender, day and file.

use std::collections::BTreeSet;

use jiff::civil::Date;
use jiff::tz::Offset;
use serde::Serialize;

use crate::load::submissions::sentence;
use crate::shared::report::counted;
use crate::shared::table_files::table_csv;
use crate::shared::unseen::plain_text;
use crate::workspace::Workspace;
use crate::workspace::open::open_store;
use intake::mapping::marked;
use intake::sheet::table::Cell;
use scouting::failure::{Failure, Kind};
use scouting::visit::week::Weeks;
use store::delta::snapshot::Snapshot;
use store::ledger::loads::{Load, all_loads, taken_back, weeks_by_load};
use store::rows::receipt::Counts;

/// Which submissions to list; all of these must hold.
#[derive(Debug, Clone, Default)]
pub(crate) struct Which {
    pub(crate) sender: Option<String>,
    /// Received on this day or later, in UTC.
    pub(crate) since: Option<Date>,
    /// The days of each week.
    pub(crate) weeks: Weeks,
    /// With visits of this week: 2026-W30.
    pub(crate) week: Option<String>,
    /// With visits of this season.
    pub(crate) season: Option<i32>,
}

/// A submission of the list.
#[derive(Debug, Serialize)]
pub(crate) struct Listed {
    #[serde(flatten)]
    load: Load,
    /// Day on which it was received, in UTC.
    day: String,
    /// Weeks of the visits that it brought.
    weeks: BTreeSet<String>,
    /// Whether it is taken back.
    undone: bool,
}

/// The submissions of a workspace, by sender, time and file; those without a sender come last.
pub(crate) async fn listed(workspace: &Workspace, which: &Which) -> Result<Vec<Listed>, Failure> {
    let snapshot = Snapshot::open(&open_store(workspace).await?, 1).await?;
    let loads = all_loads(&snapshot).await?;
    let mut weeks = weeks_by_load(&snapshot, &which.weeks).await?;
    let undone: BTreeSet<String> = taken_back(&loads).into_iter().map(str::to_owned).collect();
    let listed = loads.into_iter().map(|load| Listed {
        day: Offset::UTC.to_datetime(load.received_at).date().to_string(),
        weeks: weeks.remove(&load.load_id).unwrap_or_default(),
        undone: undone.contains(&load.load_id),
        load,
    });
    let mut listed: Vec<Listed> = listed.filter(|listed| which.holds(listed)).collect();
    let key = |listed: &Listed| {
        let load = &listed.load;
        (
            load.sender.is_none(),
            load.sender.clone(),
            load.received_at,
            load.file_name.clone(),
        )
    };
    listed.sort_by_key(key);
    Ok(listed)
}

impl Which {
    fn holds(&self, listed: &Listed) -> bool {
        let load = &listed.load;
        let day = Offset::UTC.to_datetime(load.received_at).date();
        let season = self.season.map(|season| format!("{season:04}-"));
        self.sender
            .as_ref()
            .is_none_or(|sender| load.sender.as_ref() == Some(sender))
            && self.since.is_none_or(|since| day >= since)
            && self
                .week
                .as_ref()
                .is_none_or(|week| listed.weeks.contains(week))
            && season.is_none_or(|season| listed.weeks.iter().any(|week| week.starts_with(&season)))
    }
}

/// The list for people.
pub(crate) fn list_text(listed: &[Listed]) -> String {
    let mut lines = Vec::new();
    for of_sender in listed.chunk_by(|one, next| one.load.sender == next.load.sender) {
        let sender = of_sender[0].load.sender.as_deref();
        let sender = sender.map_or_else(|| "sender not known".to_owned(), plain_text);
        let submissions = counted(of_sender.len() as u64, "submission", "submissions");
        lines.push(format!("{sender}: {submissions}"));
        lines.extend(of_sender.iter().flat_map(Listed::lines));
    }
    if listed.is_empty() {
        lines.push("no submission".to_owned());
    }
    lines.join("\n")
}

impl Listed {
    fn lines(&self) -> Vec<String> {
        let load = &self.load;
        let counts = Counts {
            received: load.received,
            accepted: load.accepted,
            duplicate: load.duplicate,
            held: load.held,
            held_before: load.held_before,
            closed: load.closed,
            flagged: load.flagged,
            units: 0,
        };
        let mut line = format!(
            "  {} {}: {}",
            self.day,
            plain_text(&load.file_name),
            sentence(&counts)
        );
        if load.flagged > 0 {
            line += &format!("; {} flagged", load.flagged);
        }
        if self.undone {
            line += "; taken back";
        }
        let weeks: Vec<&str> = self.weeks.iter().map(String::as_str).collect();
        let weeks = match weeks.as_slice() {
            [] => String::new(),
            weeks => format!(", {}", weeks.join(" ")),
        };
        let mut lines = vec![line, format!("    load {}{weeks}", load.load_id)];
        if let (Some(reason), Some(who)) = (&load.reason, &load.who) {
            lines.push(format!(
                "    by {}: {}",
                plain_text(who),
                plain_text(reason)
            ));
        }
        lines
    }
}

/// The list as text with commas, for a spreadsheet.
///
/// # Errors
/// If it cannot be written.
pub(crate) fn list_csv(listed: &[Listed]) -> Result<String, Failure> {
    let header = [
        "sender",
        "day",
        "file",
        "received",
        "accepted",
        "duplicate",
        "held",
        "held_before",
        "flagged",
        "closed",
        "weeks",
        "taken_back",
        "load_id",
        "undoes",
        "who",
        "reason",
    ]
    .map(str::to_owned);
    let rows: Vec<Vec<Cell>> = listed.iter().map(Listed::cells).collect();
    let table = table_csv(&header, rows.iter().map(Vec::as_slice))?;
    String::from_utf8(table)
        .map(|text| text.trim_end().to_owned())
        .map_err(|error| Failure::new(Kind::Publish, format!("cannot write the list: {error}")))
}

impl Listed {
    fn cells(&self) -> Vec<Cell> {
        let load = &self.load;
        let text = |text: &str| Cell::Text(marked(text));
        let may = |value: &Option<String>| value.as_deref().map_or(Cell::Empty, text);
        let number = |number: u64| Cell::Number(number as f64);
        let weeks: Vec<&str> = self.weeks.iter().map(String::as_str).collect();
        vec![
            may(&load.sender),
            Cell::Text(self.day.clone()),
            text(&load.file_name),
            number(load.received),
            number(load.accepted),
            number(load.duplicate),
            number(load.held),
            number(load.held_before),
            number(load.flagged),
            number(load.closed),
            Cell::Text(weeks.join(" ")),
            Cell::Truth(self.undone),
            Cell::Text(load.load_id.clone()),
            may(&load.undoes),
            may(&load.who),
            may(&load.reason),
        ]
    }
}
