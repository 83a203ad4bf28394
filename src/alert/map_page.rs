//! The map of an alert as a page of its own, with the name and class of every county and the legend: one HTML file that is
//! complete from any folder and from a disk, without a request and without a script.

use std::collections::HashMap;

use askama::Template;

use super::bulletin::Bulletin;
use super::page::county_map::{CountyMap, MapTitle, draw_county_map};
use crate::shared::cautions::IN_ONE_SENTENCE;
use crate::shared::classes::Class;
use crate::shared::page::Inline;
use crate::shared::shown_days::week_in_words;
use crate::shared::shown_names::{display_name, display_names, display_numbers};
use crate::shared::unseen::plain_text;
use disclosure::public_row::PublicRow;
use scouting::failure::{Failure, Kind};

#[derive(Template)]
#[template(path = "map.html", config = "src/shared/templates/askama.toml")]
struct MapPage<'a> {
    bulletin: &'a Bulletin<'a>,
    title: &'a str,
    region: String,
    week: String,
    style: Inline,
    map: CountyMap,
    counties: Vec<NamedCounty>,
    at: &'static str,
    one: &'static str,
    notice: Option<String>,
    source: String,
    caution: &'static str,
}

/// A county by its number on the map.
struct NamedCounty {
    number: usize,
    name: String,
    class: String,
}

/// The page as HTML.
///
/// # Errors
/// A [`Failure`] if the template cannot be filled.
pub(crate) fn map_html(bulletin: &Bulletin) -> Result<String, Failure> {
    let (protocol, region) = (bulletin.protocol, bulletin.region);
    let words = protocol.words();
    let week = week_in_words(bulletin.week()?, bulletin.weeks);
    let title = MapTitle {
        subject: &protocol.title,
        week: &week,
        words,
    };
    let rows: HashMap<&str, &PublicRow> = bulletin
        .rows
        .iter()
        .filter_map(|row| Some((row.place.county()?, row)))
        .collect();
    let (names, numbers) = (display_names(region), display_numbers(region));
    let mut counties: Vec<NamedCounty> = region
        .counties()
        .iter()
        .map(|county| NamedCounty {
            number: numbers[&*county.id],
            name: names[&*county.id].clone(),
            class: Class::of(rows.get(&*county.id).copied()).words(words),
        })
        .collect();
    counties.sort_by_key(|county| county.number);
    let page = MapPage {
        map: draw_county_map(region, bulletin.rows, title),
        title: &protocol.title,
        region: display_name(region.title()),
        style: Inline::of(include_str!("../shared/templates/map.css")),
        at: words.at(),
        one: words.one(),
        notice: region.invented().map(plain_text),
        source: plain_text(region.source()),
        caution: IN_ONE_SENTENCE,
        week: week.clone(),
        counties,
        bulletin,
    };
    page.render()
        .map_err(|error| Failure::because(Kind::Publish, "cannot write the map page", error))
}
