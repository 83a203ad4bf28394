//! The files around the alerts: a page for each week, the newest alerts, the feed and the list. Each is made anew from
//! what was issued.

use std::collections::BTreeMap;

use super::feed::{Publisher, feed_xml};
use super::index_page::index_html;
use super::latest::{manifest, newest_of_pests};
use super::listed::Listed;
use super::place::PublicFile;
use super::week_page::{WeekEntry, WeekPage, week_html};
use crate::alert::inputs::Inputs;
use crate::alert::pest_line::PestLine;
use crate::alert::week_pages::entry_of;
use crate::figures::map::small_map::SmallMaps;
use crate::gate::public_files::{LATEST, LATEST_MANIFEST, WEEK_PAGE};
use crate::shared::shown_days::named_week_in_words;
use crate::workspace::Workspace;
use disclosure::public_row::PublicRow;
use scouting::failure::Failure;
use scouting::protocol::catalogue::Protocol;
use scouting::region::Region;
use scouting::visit::week::Weeks;
use store::alerts::issued_alert::IssuedAlert;

/// What an issued alert shows, and the protocol that it is of.
pub(super) struct Shown {
    pub(super) rows: Vec<PublicRow>,
    pub(super) protocol: Protocol,
}

/// The files around the alerts; the feed and the list last, so that they lead to nothing that is not there.
///
/// # Errors
/// A [`Failure`] if one cannot be made.
pub(super) fn renewed_files(
    workspace: &Workspace,
    (issued, listed): (&[IssuedAlert], &[Listed]),
    weeks: &Weeks,
    shown: &BTreeMap<i64, Shown>,
    publisher: &Publisher,
) -> Result<Vec<PublicFile>, Failure> {
    let mut grounds = Grounds {
        workspace,
        weeks,
        last: None,
    };
    let mut files = week_pages(&mut grounds, issued, shown, publisher)?;
    files.extend(latest_pages(&mut grounds, issued, shown, publisher)?);
    files.push(("feed.xml".to_owned(), feed_xml(listed, publisher)?));
    let list = index_html(listed, publisher)?;
    files.push(("index.html".to_owned(), list.into_bytes()));
    Ok(files)
}

/// The counties of alerts with their small maps; those of one alert are mostly those of the next.
struct Grounds<'a> {
    workspace: &'a Workspace,
    weeks: &'a Weeks,
    last: Option<(Inputs, Region, SmallMaps)>,
}

impl Grounds<'_> {
    fn of(&mut self, alert: &IssuedAlert) -> Result<(&Region, &SmallMaps), Failure> {
        let inputs = Inputs::of_alert(self.workspace, alert)?;
        let last = match self.last.take().filter(|(last, ..)| *last == inputs) {
            Some(last) => last,
            None => {
                let region = inputs.region(self.workspace)?;
                let maps = SmallMaps::of(&region);
                (inputs, region, maps)
            }
        };
        let (_, region, maps) = self.last.insert(last);
        Ok((region, maps))
    }
}

/// What the pages say of these alerts, each seen from a page at `folder`.
fn entries<'a>(
    alerts: impl Iterator<Item = &'a IssuedAlert>,
    (region, maps): (&Region, &SmallMaps),
    shown: &BTreeMap<i64, Shown>,
    folder: &str,
) -> Vec<WeekEntry> {
    let entries = alerts.map(|alert| {
        let shown = shown.get(&alert.number);
        let line = shown.map(|shown| PestLine::of(region, maps, &shown.rows, &shown.protocol));
        entry_of(alert, line, folder)
    });
    entries.collect()
}

/// The page of each week that has an alert.
fn week_pages(
    grounds: &mut Grounds,
    issued: &[IssuedAlert],
    shown: &BTreeMap<i64, Shown>,
    publisher: &Publisher,
) -> Result<Vec<PublicFile>, Failure> {
    // Alerts come in the order of their numbers: of each week and protocol the last is the newest.
    let mut by_week: BTreeMap<&str, BTreeMap<&str, &IssuedAlert>> = BTreeMap::new();
    let mut newest: BTreeMap<&str, &IssuedAlert> = BTreeMap::new();
    for alert in issued {
        let week = by_week.entry(&alert.iso_week).or_default();
        week.insert(&alert.protocol, alert);
        newest.insert(&alert.iso_week, alert);
    }
    let pages = by_week.into_iter().map(|(iso_week, alerts)| {
        let weeks = grounds.weeks;
        let (region, maps) = grounds.of(newest[iso_week])?;
        let entries = entries(alerts.into_values(), (region, maps), shown, "../..");
        let page = week_html(&WeekPage {
            week: Some(named_week_in_words(iso_week, weeks)),
            region,
            contact: &publisher.contact,
            maps,
            feed: Some("../../feed.xml"),
            entries: &entries,
        })?;
        Ok((format!("week/{iso_week}/{WEEK_PAGE}"), page.into_bytes()))
    });
    pages.collect()
}

/// The page of the newest alert of each pest, and the same for programs.
fn latest_pages(
    grounds: &mut Grounds,
    issued: &[IssuedAlert],
    shown: &BTreeMap<i64, Shown>,
    publisher: &Publisher,
) -> Result<Vec<PublicFile>, Failure> {
    let newest = newest_of_pests(issued);
    let Some(last) = issued.last() else {
        return Ok(Vec::new());
    };
    let weeks = grounds.weeks;
    let (region, maps) = grounds.of(last)?;
    let mut entries = entries(newest.iter().copied(), (region, maps), shown, "..");
    for (entry, alert) in entries.iter_mut().zip(&newest) {
        let week = named_week_in_words(&alert.iso_week, weeks);
        entry.title = format!("{}, {week}", entry.title);
        entry.page = format!("{}/alert.html", alert.protocol);
    }
    let page = week_html(&WeekPage {
        week: None,
        region,
        contact: &publisher.contact,
        maps,
        feed: Some("../feed.xml"),
        entries: &entries,
    })?;
    Ok(vec![
        (format!("{LATEST}/{WEEK_PAGE}"), page.into_bytes()),
        (
            format!("{LATEST}/{LATEST_MANIFEST}"),
            manifest(&newest, region.invented())?,
        ),
    ])
}

/// Who publishes, as the settings say.
pub(super) fn publisher(workspace: &Workspace, workspace_id: String) -> Publisher {
    let settings = workspace.settings();
    let first = |texts: [&str; 3]| {
        let said = texts.into_iter().find(|text| !text.trim().is_empty());
        said.unwrap_or_default().to_owned()
    };
    let title = first([&settings.publish.title, "Scouting alerts", ""]);
    Publisher {
        base_url: settings.publish.base_url.clone(),
        author: first([&settings.publish.author, &settings.office.name, &title]),
        title,
        contact: settings.office.contact.clone(),
        workspace_id,
    }
}
