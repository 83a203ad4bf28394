//! `eml.xml`: what the Darwin Core archive is about, in the Ecological Metadata Language 2.2.0.

use std::collections::BTreeSet;

use askama::Template;

use super::darwin_core::DwcTable;
use super::facts::Facts;
use super::package_file::{one_line, unmade};
use super::taxa::{current_name, life_stage, scientific_name};
use crate::shared::cautions;
use crate::workspace::Creator;
use scouting::failure::Failure;

#[derive(Template)]
#[template(path = "dwca_eml.xml", config = "src/shared/templates/askama.toml")]
struct Eml {
    name: String,
    title: String,
    office: String,
    contact: String,
    doi: String,
    creators: Vec<Creator>,
    funding: Option<String>,
    published: Option<String>,
    about: String,
    caution: &'static str,
    rights: String,
    region: String,
    west: f64,
    east: f64,
    north: f64,
    south: f64,
    days: Option<(String, String)>,
    taxa: BTreeSet<String>,
    methods: Vec<String>,
}

/// The document, for the events of a package.
///
/// # Errors
/// A [`Failure`] if it cannot be written.
pub(super) fn eml_xml(facts: &Facts, events: &DwcTable) -> Result<Vec<u8>, Failure> {
    let bounds = facts.region.bounds();
    let title = one_line(facts.region.title());
    let document = Eml {
        name: facts.name(),
        title: facts.title(),
        office: match facts.office.is_empty() {
            true => "the office that keeps the workspace (its name is not stated)".to_owned(),
            false => facts.office.clone(),
        },
        contact: facts.contact.clone(),
        doi: facts.credits.doi.clone(),
        creators: facts.credits.creators.clone(),
        funding: facts.credits.funding(),
        published: facts
            .received_until
            .map(|moment| moment.strftime("%Y-%m-%d").to_string()),
        about: facts.about(),
        caution: cautions::IN_ONE_SENTENCE,
        rights: facts.rights(),
        region: if title.is_empty() {
            "the counties of the region".to_owned()
        } else {
            title
        },
        west: bounds.min().x,
        east: bounds.max().x,
        north: bounds.max().y,
        south: bounds.min().y,
        days: days_of(events),
        taxa: facts
            .protocols
            .iter()
            .map(|protocol| scientific_name(protocol))
            .collect(),
        methods: facts
            .protocols
            .iter()
            .map(|protocol| {
                let said = |what: &str, value: String| match value.is_empty() {
                    true => String::new(),
                    false => format!(" {what}: {value}."),
                };
                one_line(&format!(
                    "{}: {} Source: {}{}{}",
                    protocol.title,
                    protocol.sample.plan,
                    protocol.sample.source,
                    said("Life stage counted", life_stage(protocol)),
                    said("Current scientific name", current_name(protocol))
                ))
            })
            .collect(),
    };
    let text = document.render().map_err(unmade)?;
    Ok((text + "\n").into_bytes())
}

/// First and last day of the events. Days and weeks in ISO 8601 sort as they follow each other.
fn days_of(events: &DwcTable) -> Option<(String, String)> {
    let place = events
        .terms
        .iter()
        .position(|term| term.name() == "eventDate")?;
    let dates = || events.rows.iter().map(|row| row[place].as_str());
    let begin = dates()
        .map(|date| date.split('/').next().unwrap_or(date))
        .min()?;
    let end = dates()
        .map(|date| date.rsplit('/').next().unwrap_or(date))
        .max()?;
    Some((begin.to_owned(), end.to_owned()))
}
