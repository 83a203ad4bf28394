//! The feed of the issued alerts: Atom (RFC 4287), from what their rows say.
//!
//! Reads no clock: times are those of issuing, so the same alerts give the same bytes.

use atom_syndication::{Entry, Feed, FixedDateTime, Generator, Link, Person, Text, WriteConfig};
use jiff::Timestamp;
use sha2::{Digest, Sha256};
use uuid::Builder;

use super::listed::{Listed, replaced_by};
use crate::alert::issue::facts::folder_name;
use crate::shared::passages::sentence_case;
use crate::shared::unseen::seen_text;
use scouting::failure::{Cause, Failure, Kind};

/// Who publishes, and where.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct Publisher {
    /// Address of the folder that holds the feed, with a slash at its end; empty if not known.
    pub base_url: String,
    /// Title of the feed and the list.
    pub title: String,
    /// Name of who publishes.
    pub author: String,
    /// How to reach them; may be empty.
    pub contact: String,
    /// What stays the same wherever the workspace goes.
    pub workspace_id: String,
}

/// The feed, newest first.
///
/// # Errors
/// A [`Failure`] if there is no alert: RFC 4287 requires a time, and nothing else has one.
pub(crate) fn feed_xml(alerts: &[Listed], publisher: &Publisher) -> Result<Vec<u8>, Failure> {
    let newest = alerts.iter().map(changed_at).max().ok_or_else(|| {
        Failure::new(Kind::Publish, "no alert is issued yet, so there is no feed")
            .mend("bractline alert --week WEEK --issue")
    })?;
    let base = &publisher.base_url;
    let mut links = vec![link(base, "index.html", "alternate", "text/html")];
    if !base.is_empty() {
        links.push(link(base, "feed.xml", "self", "application/atom+xml"));
    }
    let notice = alerts.iter().find_map(|alert| alert.invented.as_deref());
    let mut by_number: Vec<&Listed> = alerts.iter().collect();
    by_number.sort_by_key(|alert| std::cmp::Reverse(alert.number));
    let feed = Feed {
        title: Text::plain(text(&publisher.title)),
        id: identity(publisher, "feed"),
        updated: moment(newest)?,
        authors: vec![Person {
            name: text(&publisher.author),
            ..Person::default()
        }],
        links,
        generator: Some(Generator {
            value: "bractline".to_owned(),
            ..Generator::default()
        }),
        subtitle: notice.map(|notice| Text::plain(text(notice))),
        entries: by_number
            .into_iter()
            .map(|alert| entry(alert, alerts, publisher))
            .collect::<Result<_, _>>()?,
        ..Feed::default()
    };
    let config = WriteConfig {
        indent_size: Some(1),
        ..WriteConfig::default()
    };
    let bytes = feed
        .write_with_config(Vec::new(), config)
        .map_err(unwritable)?;
    Ok(bytes)
}

/// When what is said of an alert was last changed, by itself.
fn changed_at(alert: &Listed) -> Timestamp {
    let withdrawn = alert.withdrawn.as_ref().map(|(at, _)| *at);
    withdrawn.map_or(alert.issued_at, |at| at.max(alert.issued_at))
}

fn entry(alert: &Listed, alerts: &[Listed], publisher: &Publisher) -> Result<Entry, Failure> {
    let successor = replaced_by(alerts, alert.number);
    if let Some((at, reason)) = &alert.withdrawn {
        return withdrawn_entry(alert, *at, reason, publisher);
    }
    let mut title = format!("{}: {}", subject(alert), alert.headline);
    if let Some(change) = &alert.change {
        title = format!("{}: {title}", sentence_case(change.word()));
    }
    if let Some(other) = successor {
        title = format!("[replaced by alert {}] {title}", other.number);
    }
    let start = alert
        .replaces_in_words()
        .map_or_else(String::new, |replaces| {
            // "An update of alert 3" begins a sentence as "Update of alert 3" does.
            let (_, replaces) = replaces.split_once(' ').unwrap_or_default();
            format!("{}. ", sentence_case(replaces).trim_end_matches('.'))
        });
    let end = alert
        .invented
        .as_deref()
        .map_or_else(String::new, |notice| format!(" {notice}"));
    let page = format!("{}/alert.html", folder_name(alert.number));
    Ok(Entry {
        title: Text::plain(text(&title)),
        id: identity(publisher, &alert.number.to_string()),
        // What is said of an alert changes once, when it is replaced.
        updated: moment(successor.map_or(alert.issued_at, |other| other.issued_at))?,
        published: Some(moment(alert.issued_at)?),
        links: vec![link(&publisher.base_url, &page, "alternate", "text/html")],
        summary: Some(Text::plain(text(&format!(
            "{start}{}: {}{end}",
            subject(alert),
            alert.summary
        )))),
        ..Entry::default()
    })
}

/// The pest and the week of an alert: three pests of a week are told apart in a list of titles.
fn subject(alert: &Listed) -> String {
    format!("{}, {}", alert.title, alert.week)
}

/// Of a withdrawn alert no figure is repeated.
fn withdrawn_entry(
    alert: &Listed,
    at: Timestamp,
    reason: &str,
    publisher: &Publisher,
) -> Result<Entry, Failure> {
    let page = format!("{}/alert.html", folder_name(alert.number));
    let title = format!("[withdrawn] {}", subject(alert));
    let summary = format!("Alert {} was withdrawn: {reason}", alert.number);
    Ok(Entry {
        title: Text::plain(text(&title)),
        id: identity(publisher, &alert.number.to_string()),
        updated: moment(at)?,
        published: Some(moment(alert.issued_at)?),
        links: vec![link(&publisher.base_url, &page, "alternate", "text/html")],
        summary: Some(Text::plain(text(&summary))),
        ..Entry::default()
    })
}

fn link(base: &str, to: &str, rel: &str, mime_type: &str) -> Link {
    Link {
        href: format!("{base}{to}"),
        rel: rel.to_owned(),
        mime_type: Some(mime_type.to_owned()),
        ..Link::default()
    }
}

/// A name for ever (RFC 9562, version 8): from the workspace and the number, so that it stays when the
/// address changes.
fn identity(publisher: &Publisher, of: &str) -> String {
    let hash = Sha256::digest(format!("{}/{of}", publisher.workspace_id));
    let mut bytes = [0; 16];
    bytes.copy_from_slice(&hash[..16]);
    format!("urn:uuid:{}", Builder::from_custom_bytes(bytes).into_uuid())
}

/// Text without what is not seen; some of that XML cannot hold at all.
fn text(text: &str) -> String {
    seen_text(text)
}

fn moment(moment: Timestamp) -> Result<FixedDateTime, Failure> {
    let written = moment.strftime("%Y-%m-%dT%H:%M:%SZ").to_string();
    written.parse().map_err(unwritable)
}

fn unwritable(error: impl Into<Cause>) -> Failure {
    Failure::because(Kind::Publish, "cannot write the feed", error)
}
