//! The list of issued alerts: one HTML page that a plain web server shows first.

use std::cmp::Reverse;
use std::collections::BTreeMap;

use askama::Template;

use super::feed::{Listed, Publisher, replaced_by};
use crate::alert::issue::facts::{anchor, folder_name};
use crate::shared::shown_days::moment_in_words;
use crate::shared::shown_names::display_name;
use crate::shared::unseen::{plain_text, seen_text};
use scouting::failure::{Failure, Kind};

#[derive(Template)]
#[template(path = "index.html", config = "src/shared/templates/askama.toml")]
struct Page {
    title: String,
    author: String,
    contact: String,
    notice: Option<String>,
    weeks: Vec<Week>,
}

/// The alerts of one week under one protocol.
struct Week {
    anchor: String,
    title: String,
    week: String,
    alerts: Vec<Line>,
}

struct Line {
    number: i64,
    folder: String,
    headline: String,
    issued: String,
    replaces: Option<i64>,
    replaced_by: Option<(i64, String)>,
    /// Why it was withdrawn.
    withdrawn: Option<String>,
}

/// The page: the newest week first, and within it the newest alert.
///
/// # Errors
/// A [`Failure`] if the template cannot be written out.
pub(crate) fn index_html(alerts: &[Listed], publisher: &Publisher) -> Result<String, Failure> {
    let mut weeks: BTreeMap<(Reverse<&str>, &str), Vec<&Listed>> = BTreeMap::new();
    for alert in alerts {
        let week = (Reverse(alert.iso_week.as_str()), alert.protocol.as_str());
        weeks.entry(week).or_default().push(alert);
    }
    let weeks = weeks.into_iter().map(|((iso_week, protocol), mut listed)| {
        listed.sort_by_key(|alert| Reverse(alert.number));
        Week {
            anchor: anchor(iso_week.0, protocol),
            title: display_name(&listed[0].title),
            week: listed[0].week.clone(),
            alerts: listed
                .into_iter()
                .map(|alert| line(alert, alerts))
                .collect(),
        }
    });
    let notice = alerts
        .iter()
        .find_map(|alert| alert.invented.as_deref().map(plain_text));
    Page {
        title: display_name(&publisher.title),
        author: display_name(&publisher.author),
        contact: display_name(&publisher.contact),
        notice,
        weeks: weeks.collect(),
    }
    .render()
    .map_err(|error| Failure::because(Kind::Publish, "cannot write the list of alerts", error))
}

fn line(alert: &Listed, alerts: &[Listed]) -> Line {
    Line {
        number: alert.number,
        folder: folder_name(alert.number),
        headline: seen_text(&alert.headline),
        issued: moment_in_words(alert.issued_at),
        replaces: alert.replaces,
        replaced_by: replaced_by(alerts, alert.number)
            .map(|other| (other.number, folder_name(other.number))),
        withdrawn: alert.withdrawn.as_ref().map(|(_, why)| seen_text(why)),
    }
}
