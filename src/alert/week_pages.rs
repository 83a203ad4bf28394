//! The page of a week in the workspace: every protocol of it that was issued, or drafted.

use crate::alert::issue::facts::folder_name;
use crate::alert::publish::week_page::{WeekEntry, week_html};
use crate::figures::rolled_up::Figures;
use crate::shared::files::write_private_file;
use crate::shared::shown_days::week_in_words;
use crate::shared::unseen::plain_text;
use crate::workspace::Workspace;
use scouting::failure::Failure;
use scouting::visit::week::IsoWeek;
use store::alerts::issued_alert::IssuedAlert;

/// Writes `alerts/WEEK/index.html`.
///
/// # Errors
/// A [`Failure`] if it cannot be written.
pub(crate) fn write_week_page(
    workspace: &Workspace,
    figures: &Figures,
    week: IsoWeek,
    issued: &[IssuedAlert],
) -> Result<(), Failure> {
    let folder = workspace.alerts().join(week.to_string());
    let mut entries = Vec::new();
    for protocol in figures.catalogue.protocols() {
        let title = plain_text(&protocol.title);
        entries.extend(issued_entry(&title, &protocol.id, week, issued));
        if folder.join(&protocol.id).join("alert.html").is_file() {
            entries.push(WeekEntry {
                title,
                headline: None,
                said: "draft".to_owned(),
                page: format!("{}/alert.html", protocol.id),
            });
        }
    }
    let page = week_html(
        week_in_words(week, &figures.setting.weeks),
        &figures.region,
        &figures.contact,
        &entries,
    )?;
    write_private_file(&folder.join("index.html"), page.as_bytes())
}

/// The newest alert of the week under a protocol.
fn issued_entry(
    title: &str,
    protocol: &str,
    week: IsoWeek,
    issued: &[IssuedAlert],
) -> Option<WeekEntry> {
    let week = week.to_string();
    let mut alerts = issued.iter().rev();
    let alert = alerts.find(|alert| alert.iso_week == week && alert.protocol == protocol)?;
    Some(entry_of(alert, title, "../issued"))
}

/// What a week's page says of an alert; `folder` is that of the issued alerts, as the page sees it.
pub(crate) fn entry_of(alert: &IssuedAlert, title: &str, folder: &str) -> WeekEntry {
    let withdrawn = alert.withdrawn.as_ref();
    WeekEntry {
        title: title.to_owned(),
        headline: withdrawn.is_none().then(|| alert.headline.clone()),
        said: match withdrawn {
            Some(withdrawn) => format!("alert {}, withdrawn: {}", alert.number, withdrawn.reason),
            None => format!("alert {}", alert.number),
        },
        page: format!("{folder}/{}/alert.html", folder_name(alert.number)),
    }
}
