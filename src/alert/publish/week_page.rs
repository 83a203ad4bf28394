//! The page of a week: a line for each protocol, with a link to its alert.

use askama::Template;

use crate::shared::shown_names::display_name;
use crate::shared::unseen::{plain_text, seen_text};
use scouting::failure::{Failure, Kind};
use scouting::region::Region;

/// An alert of the week.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct WeekEntry {
    /// Title of its protocol.
    pub title: String,
    /// Its headline; `None` of a draft or a withdrawn alert.
    pub headline: Option<String>,
    /// `alert 3`, `draft`, or why it was withdrawn.
    pub said: String,
    /// Where its page is, seen from this one.
    pub page: String,
}

#[derive(Template)]
#[template(path = "week.html", config = "src/shared/templates/askama.toml")]
struct Page {
    week: String,
    region: String,
    contact: String,
    notice: Option<String>,
    entries: Vec<WeekEntry>,
}

/// The page as HTML; `week` is the week in words.
///
/// # Errors
/// A [`Failure`] if the template cannot be written out.
pub(crate) fn week_html(
    week: String,
    region: &Region,
    contact: &str,
    entries: &[WeekEntry],
) -> Result<String, Failure> {
    let seen = |entry: &WeekEntry| WeekEntry {
        title: display_name(&entry.title),
        headline: entry.headline.as_deref().map(seen_text),
        said: seen_text(&entry.said),
        page: entry.page.clone(),
    };
    let page = Page {
        week,
        region: display_name(region.title()),
        contact: display_name(contact),
        notice: region.invented().map(plain_text),
        entries: entries.iter().map(seen).collect(),
    };
    page.render().map_err(|error| {
        Failure::because(Kind::Publish, "cannot write the page of the week", error)
    })
}
