//! The day on which weeks start, against the alerts and rows of a season: one season has one kind of week.
//!
//! In weeks of two kinds a field of one day would be in two public rows, and the two together would tell more of it than
//! either. So a season keeps the weeks that its first public row was made with, whatever the setting says now.

use crate::shared::report;
use crate::shared::shown_numbers::join_with_and;
use crate::workspace::{SETTINGS_FILE, Workspace};
use disclosure::editions::Published;
use scouting::failure::{Failure, Kind};
use scouting::visit::week::{WeekStart, Weeks};
use store::alerts::issued_alert::IssuedAlert;

/// Refuses to go on with a season by another kind of week than that of its alerts.
///
/// # Errors
/// A [`Failure`] that names the first alert of the season, or its public rows, if the setting is another day.
pub(crate) fn check_week_start(
    workspace: &Workspace,
    season: i32,
    issued: &[IssuedAlert],
    published: &[Published],
) -> Result<(), Failure> {
    let now = workspace.settings().week.starts;
    let of_season = format!("{season:04}-");
    for alert in issued {
        if alert.iso_week.starts_with(&of_season) {
            let then = start_of(workspace, alert)?;
            if then != now {
                let what = format!("alert {} of {}", alert.number, alert.iso_week);
                return Err(other_start(season, &what, then, now));
            }
        }
    }
    let mut rows = published.iter().map(|one| &one.entry.row);
    match rows.find(|row| row.season == season && row.week_starts != now) {
        Some(row) => {
            let what = format!("public rows of {}", row.iso_week);
            Err(other_start(season, &what, row.week_starts, now))
        }
        None => Ok(()),
    }
}

/// The day on which the weeks of an alert start: that of its rows, or of the settings that it was issued with.
fn start_of(workspace: &Workspace, alert: &IssuedAlert) -> Result<WeekStart, Failure> {
    let mut rows = alert.public_rows.iter().flatten();
    match rows.next() {
        Some(entry) => Ok(entry.row.week_starts),
        None => Ok(workspace.as_it_was(&alert.settings)?.settings().week.starts),
    }
}

fn other_start(season: i32, what: &str, then: WeekStart, now: WeekStart) -> Failure {
    Failure::new(
        Kind::Settings,
        format!("[week] starts = \"{now}\", but {what} has weeks that start on {then}"),
    )
    .at(SETTINGS_FILE)
    .mend(format!(
        "write starts = \"{then}\" for the rest of season {season}: with weeks of two kinds a field would be in two \
         public rows. A new season may start its weeks on another day, from before its first alert"
    ))
}

/// Says which seasons keep weeks of another kind than the setting asks for.
pub(crate) fn note_other_starts(weeks: &Weeks) {
    let (now, others) = weeks.starts();
    let others: Vec<String> = others
        .map(|(season, then)| format!("{season} on {then}"))
        .collect();
    if let Some(seasons) = join_with_and(&others) {
        report::note(&format!(
            "note: weeks start on {now}; those of seasons that have public rows keep their start: {seasons}"
        ));
    }
}
