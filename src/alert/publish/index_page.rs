//! The list of issued alerts: one HTML page that a plain web server shows first.

use std::cmp::Reverse;
use std::collections::BTreeMap;

use askama::Template;

use super::feed::Publisher;
use super::listed::{Listed, replaced_by};
use crate::alert::issue::facts::{anchor, folder_name};
use crate::shared::passages::sentence_case;
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
    pests: Vec<Pest>,
}

/// The alerts of one pest.
struct Pest {
    title: String,
    seasons: Vec<Season>,
}

/// Its alerts of one season.
struct Season {
    year: String,
    weeks: Vec<Week>,
}

/// Its alerts of one week.
struct Week {
    anchor: String,
    week: String,
    alerts: Vec<Line>,
}

struct Line {
    number: i64,
    folder: String,
    headline: String,
    issued: String,
    /// `an update of alert 3`.
    replaces: Option<String>,
    replaced_by: Option<(i64, String)>,
    /// Why it was withdrawn.
    withdrawn: Option<String>,
}

/// The page: the pests by name, of each the newest season and week first, and within it the newest alert.
///
/// # Errors
/// A [`Failure`] if the template cannot be written out.
pub(crate) fn index_html(alerts: &[Listed], publisher: &Publisher) -> Result<String, Failure> {
    // The title of the newest alert is the pest's name.
    let titles: BTreeMap<&str, &str> = alerts
        .iter()
        .map(|alert| (&*alert.protocol, &*alert.title))
        .collect();
    let mut pests: Vec<(&str, &str)> = titles.into_iter().collect();
    pests.sort_by_key(|(protocol, title)| (*title, *protocol));
    let pests = pests.into_iter().map(|(protocol, title)| {
        let of_pest: Vec<&Listed> = alerts
            .iter()
            .filter(|alert| alert.protocol == protocol)
            .collect();
        Pest {
            title: display_name(title),
            seasons: seasons(&of_pest, alerts),
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
        pests: pests.collect(),
    }
    .render()
    .map_err(|error| Failure::because(Kind::Publish, "cannot write the list of alerts", error))
}

fn seasons(of_pest: &[&Listed], alerts: &[Listed]) -> Vec<Season> {
    let mut seasons: BTreeMap<Reverse<&str>, BTreeMap<Reverse<&str>, Vec<&Listed>>> =
        BTreeMap::new();
    for alert in of_pest {
        let weeks = seasons.entry(Reverse(alert.season())).or_default();
        weeks
            .entry(Reverse(&alert.iso_week))
            .or_default()
            .push(alert);
    }
    let seasons = seasons.into_iter().map(|(Reverse(year), weeks)| Season {
        year: year.to_owned(),
        weeks: weeks
            .into_iter()
            .map(|(Reverse(iso_week), mut listed)| {
                listed.sort_by_key(|alert| Reverse(alert.number));
                Week {
                    anchor: anchor(iso_week, &listed[0].protocol),
                    week: sentence_case(&listed[0].week),
                    alerts: listed
                        .into_iter()
                        .map(|alert| line(alert, alerts))
                        .collect(),
                }
            })
            .collect(),
    });
    seasons.collect()
}

fn line(alert: &Listed, alerts: &[Listed]) -> Line {
    Line {
        number: alert.number,
        folder: folder_name(alert.number),
        headline: seen_text(&alert.headline),
        issued: moment_in_words(alert.issued_at),
        replaces: alert.replaces_in_words().map(|said| seen_text(&said)),
        replaced_by: replaced_by(alerts, alert.number)
            .map(|other| (other.number, folder_name(other.number))),
        withdrawn: alert.withdrawn.as_ref().map(|(_, why)| seen_text(why)),
    }
}
