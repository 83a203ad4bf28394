//! The page of a week in the workspace: every pest of it whose alert was issued, or drafted.

use std::collections::BTreeMap;

use crate::alert::issue::facts::folder_name;
use crate::alert::pest_line::{PestLine, shown_rows};
use crate::alert::publish::week_page::{Standing, WeekEntry, WeekPage, week_html};
use crate::figures::map::small_map::SmallMaps;
use crate::figures::rolled_up::Figures;
use crate::shared::files::write_private_file;
use crate::shared::shown_days::week_in_words;
use crate::shared::unseen::plain_text;
use crate::workspace::Workspace;
use disclosure::editions::Published;
use scouting::failure::Failure;
use scouting::protocol::catalogue::Protocol;
use scouting::visit::week::IsoWeek;
use store::alerts::issued_alert::IssuedAlert;

/// What the page of a week is made of, besides the figures.
pub(crate) struct WeekOf<'a> {
    pub(crate) week: IsoWeek,
    /// The issued alerts, and the rows that they brought.
    pub(crate) issued: &'a [IssuedAlert],
    pub(crate) published: &'a [Published],
    /// What the drafts of this run say, by protocol.
    pub(crate) drafted: &'a BTreeMap<&'a str, &'a PestLine>,
}

/// Writes `alerts/WEEK/index.html`.
///
/// # Errors
/// A [`Failure`] if it cannot be written.
pub(crate) fn write_week_page(
    workspace: &Workspace,
    figures: &Figures,
    maps: &SmallMaps,
    of: &WeekOf,
) -> Result<(), Failure> {
    let iso_week = of.week.to_string();
    let folder = workspace.alerts().join(&iso_week);
    let mut entries = Vec::new();
    for protocol in figures.catalogue.protocols() {
        entries.extend(issued_entry(figures, maps, of, protocol));
        if folder.join(&protocol.id).join("alert.html").is_file() {
            entries.push(WeekEntry {
                title: plain_text(&protocol.title),
                standing: Standing::Draft,
                line: of.drafted.get(&*protocol.id).map(|line| (*line).clone()),
                page: format!("{}/alert.html", protocol.id),
            });
        }
    }
    let page = week_html(&WeekPage {
        week: Some(week_in_words(of.week, &figures.setting.weeks)),
        region: &figures.region,
        contact: &figures.contact,
        maps,
        feed: None,
        entries: &entries,
    })?;
    write_private_file(&folder.join("index.html"), page.as_bytes())
}

/// The newest alert of the week under a protocol.
fn issued_entry(
    figures: &Figures,
    maps: &SmallMaps,
    of: &WeekOf,
    protocol: &Protocol,
) -> Option<WeekEntry> {
    let iso_week = of.week.to_string();
    let mut alerts = of.issued.iter().rev();
    let alert = alerts.find(|alert| alert.iso_week == iso_week && alert.protocol == protocol.id)?;
    let rows = shown_rows(of.published, &iso_week, &protocol.id);
    let line = PestLine::of(&figures.region, maps, &rows, protocol);
    Some(entry_of(alert, Some(line), "../issued"))
}

/// What a page says of an issued alert, with what its rows say; `folder` is that of the issued alerts, as the page sees
/// it.
pub(crate) fn entry_of(alert: &IssuedAlert, line: Option<PestLine>, folder: &str) -> WeekEntry {
    let number = alert.number;
    WeekEntry {
        title: alert.title.clone(),
        standing: match &alert.withdrawn {
            Some(withdrawn) => Standing::Withdrawn(number, withdrawn.reason.clone()),
            None => Standing::Issued(number, alert.change.clone()),
        },
        line: line.filter(|_| alert.withdrawn.is_none()),
        page: format!("{folder}/{}/alert.html", folder_name(number)),
    }
}
