//! The stub that takes the place of a withdrawn alert.

use askama::Template;
use jiff::Timestamp;

use super::listed::{Listed, newer};
use crate::alert::issue::facts::folder_name;
use crate::shared::shown_days::moment_in_words;
use crate::shared::shown_names::display_name;
use crate::shared::unseen::{plain_text, seen_text};
use scouting::failure::{Failure, Kind};

#[derive(Template)]
#[template(path = "withdrawn.html", config = "src/shared/templates/askama.toml")]
struct Page {
    number: i64,
    title: String,
    week: String,
    at: String,
    reason: String,
    /// Way to the folder of all alerts.
    root: &'static str,
    /// The newer alert of the week, if there is one: number and folder.
    newer: Option<(i64, String)>,
    contact: String,
    notice: Option<String>,
}

/// The stub as HTML; `root` is the way from it to the folder of all alerts.
///
/// # Errors
/// A [`Failure`] if the template cannot be written out.
pub(crate) fn withdrawn_html(
    alert: &Listed,
    alerts: &[Listed],
    at: Timestamp,
    reason: &str,
    contact: &str,
    root: &'static str,
) -> Result<String, Failure> {
    let page = Page {
        number: alert.number,
        title: display_name(&alert.title),
        week: alert.week.clone(),
        at: moment_in_words(at),
        reason: seen_text(reason),
        root,
        newer: newer(alerts, alert).map(|other| (other.number, folder_name(other.number))),
        contact: display_name(contact),
        notice: alert.invented.as_deref().map(plain_text),
    };
    page.render().map_err(|error| {
        Failure::because(
            Kind::Publish,
            "cannot write the page of a withdrawn alert",
            error,
        )
    })
}
