//! The county map as inline SVG, with a legend in words.
//!
//! Colors a county by the class of `classes.rs` that its public row has, and outlines it where a field is at
//! threshold. Shows no single field, and says nothing of a county without a row.

use std::collections::HashMap;
use std::fmt::Write;

use super::map_labels::{Label, draw_labels};
use super::row_words::{fields_at_threshold_in_words, fields_in_short};
use crate::shared::chart::escaped;
use crate::shared::classes::{BORDER, Class};
use crate::shared::count_words::CountWords;
use crate::shared::map_frame::{Frame, Ring, path_of};
use crate::shared::page::swatch;
use crate::shared::shown_names::{display_name, display_names, display_numbers};
use crate::shared::shown_numbers::{count_of, join_with_and};
use disclosure::public_row::PublicRow;
use disclosure::rule::Level;
use scouting::region::Region;

/// What a map shows, for its title and its description.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct MapTitle<'a> {
    /// Such as `Banded sunflower moth, eggs on bracts`.
    pub subject: &'a str,
    /// Such as `week 30 of 2026, July 20–26, 2026`.
    pub week: &'a str,
    /// How its texts name places and levels.
    pub words: CountWords,
}

/// A map and its legend, as pieces of HTML that are safe to set into a page.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct CountyMap {
    /// The `svg` element. The swatches of the legend use its patterns, so the two belong on one page, and one map to
    /// a page.
    pub svg: String,
    /// One entry per class of the rows' level, also for a class that no county has.
    pub legend: Vec<LegendEntry>,
}

/// A line of the legend.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct LegendEntry {
    /// An `svg` element with the fill.
    pub swatch: String,
    /// The class in words.
    pub words: String,
    /// How many counties have it: `3 counties`.
    pub counties: String,
}

/// Draws the counties of a region as the rows of one week and one protocol have them. A row of another place than a
/// county is not on the map.
pub fn draw_county_map(region: &Region, rows: &[PublicRow], title: MapTitle) -> CountyMap {
    let of_counties = rows.iter();
    let rows: HashMap<&str, &PublicRow> = of_counties
        .filter_map(|row| Some((row.place.county()?, row)))
        .collect();
    let names = display_names(region);
    let numbers = display_numbers(region);
    let frame = Frame::around(region.counties());
    let mut counties: Vec<_> = region
        .counties()
        .iter()
        .map(|county| {
            let row = rows.get(&*county.id).copied();
            DrawnCounty {
                class: Class::of(row),
                row,
                name: &names[&*county.id],
                number: numbers[&*county.id],
                rings: frame.place(county),
            }
        })
        .collect();
    // What is drawn last is on top: the outline of a county with a field at threshold covers its neighbors', and a border
    // of a county with figures that of one without.
    counties.sort_by_key(|county| (county.has_field_at_threshold(), county.row.is_some()));
    let classes = Class::legend_of(rows.values().copied());
    CountyMap {
        svg: draw_svg(&frame, &counties, &classes, title),
        legend: classes
            .iter()
            .map(|class| legend_entry(*class, &counties, title.words))
            .collect(),
    }
}

struct DrawnCounty<'a> {
    class: Class,
    row: Option<&'a PublicRow>,
    name: &'a str,
    number: usize,
    rings: Vec<Ring>,
}

impl DrawnCounty<'_> {
    fn has_field_at_threshold(&self) -> bool {
        self.row.is_some_and(|row| row.at_threshold[0] > 0)
    }

    fn label(&self) -> Label<'_> {
        let figures = self.row.filter(|row| row.fields_visited > 0);
        Label {
            number: self.number,
            name: self.name,
            fields: figures.map(fields_in_short),
            ink: self.class.ink(),
            on_marks: self.class.marks().is_some(),
            rings: &self.rings,
        }
    }
}

fn draw_svg(frame: &Frame, counties: &[DrawnCounty], classes: &[Class], title: MapTitle) -> String {
    let mut svg = String::new();
    let (width, height) = (frame.width, frame.height);
    let heading = format!(
        "Map of median pressure by county: {}, {}",
        title.subject, title.week
    );
    // Writing to a String cannot fail.
    let _ = write!(
        svg,
        r#"<svg class="map" xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {width} {height}" role="img" aria-labelledby="map-title map-description"><title id="map-title">{}</title><desc id="map-description">{}</desc>{PATTERNS}<g stroke="{BORDER}" stroke-width="1" stroke-linejoin="round" fill-rule="evenodd">"#,
        escaped(&display_name(&heading)),
        escaped(&describe(counties, classes, title.words)),
    );
    for county in counties {
        draw_county(&mut svg, county, title.words);
    }
    svg.push_str("</g>");
    let labels: Vec<Label> = counties.iter().map(DrawnCounty::label).collect();
    draw_labels(&mut svg, &labels);
    svg.push_str("</svg>");
    svg
}

/// Three fills that no class of the scale has, distinct without color: dots, slanted lines, upright crosses.
const PATTERNS: &str = concat!(
    r##"<defs><pattern id="map-none-at-threshold" width="12" height="12" patternUnits="userSpaceOnUse">"##,
    r##"<rect width="12" height="12" fill="#fff"/><circle cx="3" cy="3" r="1.4" fill="#555"/>"##,
    r##"<circle cx="9" cy="9" r="1.4" fill="#555"/></pattern>"##,
    r##"<pattern id="map-some-at-threshold" width="8" height="8" patternUnits="userSpaceOnUse">"##,
    r##"<rect width="8" height="8" fill="#fff"/>"##,
    r##"<path d="M-2 2L2-2M0 8L8 0M6 10L10 6" stroke="#444" stroke-width="1.6"/></pattern>"##,
    r##"<pattern id="map-other-stage" width="12" height="12" patternUnits="userSpaceOnUse">"##,
    r##"<rect width="12" height="12" fill="#fff"/>"##,
    r##"<path d="M6 2.5v7M2.5 6h7" stroke="#555" stroke-width="1.2"/></pattern></defs>"##,
);

/// The border of a county without figures.
const QUIET_BORDER: &str = "#aaa";

fn draw_county(svg: &mut String, county: &DrawnCounty, words: CountWords) {
    let path = path_of(&county.rings);
    let fill = county.class.fill();
    let hover = escaped(&format!(
        "{}: {}, {}",
        county.number,
        county.name,
        says(county, words)
    ));
    if county.has_field_at_threshold() {
        // A white casing keeps the dark line visible on the darkest fills.
        let _ = write!(
            svg,
            r##"<path d="{path}" fill="{fill}" stroke="#fff" stroke-width="7"/><path d="{path}" fill="none" stroke="#000" stroke-width="3"><title>{hover}</title></path>"##
        );
    } else {
        // Where nothing can be said, the border is no more than a seam.
        let stroke = match county.row.is_some() {
            true => String::new(),
            false => format!(r#" stroke="{QUIET_BORDER}""#),
        };
        let _ = write!(
            svg,
            r#"<path d="{path}" fill="{fill}"{stroke}><title>{hover}</title></path>"#
        );
    }
}

/// What is known of a county: `4 of 6 fields at threshold, median 0.5 to under 1`.
fn says(county: &DrawnCounty, words: CountWords) -> String {
    let Some(row) = county.row.filter(|row| row.fields_visited > 0) else {
        return county.class.words(words);
    };
    let fields = fields_at_threshold_in_words(row, words);
    match (county.class, county.class.band()) {
        (Class::NothingFound, _) => format!("{fields}, nothing found"),
        (_, Some(band)) => format!("{fields}, median {}", band.bounds_in_words()),
        _ => fields,
    }
}

/// The description for those who do not see the map, from the same rows.
fn describe(counties: &[DrawnCounty], classes: &[Class], words: CountWords) -> String {
    let parts: Vec<String> = classes
        .iter()
        .map(|class| (class, count(*class, counties)))
        .filter(|(_, count)| *count > 0)
        .map(|(class, count)| {
            let counties = count_of(count, "county", "counties");
            format!("{counties}: {}", class.words(words))
        })
        .collect();
    let at_threshold = counties
        .iter()
        .filter(|county| county.has_field_at_threshold())
        .count();
    let total = count_of(counties.len(), "county", "counties");
    let parts = parts.join("; ");
    let whose = if at_threshold == 1 { "has" } else { "have" };
    let (one, at) = (words.one(), words.at());
    format!(
        "Of {total}, {at_threshold} {whose} at least one {one} {at}.{} {parts}. The table below the map has \
         the same figures, and each county's number on the map.",
        highest(counties).unwrap_or_default()
    )
}

/// More counties than these are counted and not named.
const NAMED_MAX: usize = 3;

/// The counties of the highest class of the median. Only under `survey`: under `strict` classes overlap, and none is
/// the highest.
fn highest(counties: &[DrawnCounty]) -> Option<String> {
    let place = |county: &DrawnCounty| {
        let band = county.class.band()?;
        // Of two open classes the one that begins higher is the higher.
        Some((band.from * 100.0) as u64)
    };
    if counties
        .iter()
        .any(|county| matches!(county.class, Class::Median(Level::Strict, _)))
    {
        return None;
    }
    let top = counties.iter().filter_map(place).max()?;
    let mut names: Vec<String> = counties
        .iter()
        .filter(|county| place(county) == Some(top))
        .map(|county| county.name.to_owned())
        .collect();
    names.sort();
    let whose = match names.len() > NAMED_MAX {
        true => count_of(names.len(), "county", "counties"),
        false => join_with_and(&names)?,
    };
    let bounds = counties
        .iter()
        .find(|county| place(county) == Some(top))
        .and_then(|county| county.class.band())?
        .bounds_in_words();
    Some(format!(" The highest median is {bounds}, in {whose}."))
}

fn count(class: Class, counties: &[DrawnCounty]) -> usize {
    counties
        .iter()
        .filter(|county| county.class == class)
        .count()
}

fn legend_entry(class: Class, counties: &[DrawnCounty], words: CountWords) -> LegendEntry {
    LegendEntry {
        swatch: swatch(class),
        words: class.words(words),
        counties: count_of(count(class, counties), "county", "counties"),
    }
}
