//! The county map as inline SVG, with a legend in words.
//!
//! Colours the median pressure of a county's fields in the classes of `classes.rs`. Shows no single field,
//! and never colours a county of which nothing is known.

use std::collections::HashMap;
use std::fmt::Write;

use crate::publish::chart::escaped;
use crate::publish::classes::{BORDER, Class};
use crate::publish::map_frame::{Frame, Ring, path_of, room_for, tenth};
use crate::publish::shown_names::{display_name, display_names, display_numbers};
use crate::publish::shown_numbers::{Form, count_of, display_number};
use crate::region::Region;
use crate::rollup::county_week::{Cell, CountyWeek};

/// What a map shows, for its title and its description.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct MapTitle<'a> {
    /// Such as `Banded sunflower moth, eggs on bracts`.
    pub subject: &'a str,
    /// Such as `week 30 of 2026, 20–26 July 2026`.
    pub week: &'a str,
}

/// A map and its legend, as pieces of HTML that are safe to set into a page.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct CountyMap {
    /// The `svg` element. Its patterns are used by the swatches of the legend too, so the two
    /// belong on one page, and one map to a page.
    pub svg: String,
    /// One entry a class, always all of them.
    pub legend: Vec<LegendEntry>,
}

/// A line of the legend.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct LegendEntry {
    /// An `svg` element with the fill.
    pub swatch: String,
    /// The class in words.
    pub words: &'static str,
    /// How many counties have it: `3 counties`.
    pub counties: String,
}

/// Draws the counties of a region as the rows of one week and one protocol have them.
pub fn draw_county_map(region: &Region, rows: &[CountyWeek], title: MapTitle) -> CountyMap {
    let cells: HashMap<&str, Cell> = rows.iter().map(|r| (&*r.county_id, r.cell())).collect();
    let names = display_names(region);
    let numbers = display_numbers(region);
    let frame = Frame::around(region.counties());
    let mut counties: Vec<_> = region
        .counties()
        .iter()
        .map(|county| DrawnCounty {
            class: Class::of(cells.get(&*county.id).copied()),
            cell: cells.get(&*county.id).copied(),
            name: &names[&*county.id],
            number: numbers[&*county.id],
            rings: frame.place(county),
        })
        .collect();
    // What is drawn last lies on top: the outline of a county at threshold covers its neighbours'.
    counties.sort_by_key(|county| county.class.at_threshold());
    CountyMap {
        svg: draw_svg(&frame, &counties, title),
        legend: Class::ALL
            .map(|class| legend_entry(class, &counties))
            .into(),
    }
}

struct DrawnCounty<'a> {
    class: Class,
    cell: Option<Cell>,
    name: &'a str,
    number: usize,
    rings: Vec<Ring>,
}

fn draw_svg(frame: &Frame, counties: &[DrawnCounty], title: MapTitle) -> String {
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
        escaped(&describe(counties)),
    );
    for county in counties {
        draw_county(&mut svg, county);
    }
    let _ = write!(
        svg,
        r#"</g><g font-size="{NUMBER_SIZE}" text-anchor="middle" stroke-linejoin="round">"#
    );
    for county in counties {
        draw_number(&mut svg, county);
    }
    svg.push_str("</g></svg>");
    svg
}

/// Three fills that no class of the scale has, each told from the others without colour: dots on
/// grey, upright crosses, slanted lines.
const PATTERNS: &str = concat!(
    r##"<defs><pattern id="map-too-few-fields" width="8" height="8" patternUnits="userSpaceOnUse">"##,
    r##"<rect width="8" height="8" fill="#ececec"/><circle cx="2" cy="2" r="1.3" fill="#444"/>"##,
    r##"<circle cx="6" cy="6" r="1.3" fill="#444"/></pattern>"##,
    r##"<pattern id="map-outside-stage" width="12" height="12" patternUnits="userSpaceOnUse">"##,
    r##"<rect width="12" height="12" fill="#fff"/>"##,
    r##"<path d="M6 2.5v7M2.5 6h7" stroke="#444" stroke-width="1.2"/></pattern>"##,
    r##"<pattern id="map-no-visits" width="8" height="8" patternUnits="userSpaceOnUse">"##,
    r##"<rect width="8" height="8" fill="#fff"/>"##,
    r##"<path d="M-2 2L2-2M0 8L8 0M6 10L10 6" stroke="#777" stroke-width="1"/></pattern></defs>"##,
);

fn draw_county(svg: &mut String, county: &DrawnCounty) {
    let path = path_of(&county.rings);
    let fill = county.class.fill();
    let hover = escaped(&format!(
        "{}: {}, {}",
        county.number,
        county.name,
        says(county)
    ));
    if county.class.at_threshold() {
        // A white casing keeps the dark line visible on the darkest fills.
        let _ = write!(
            svg,
            r##"<path d="{path}" fill="{fill}" stroke="#fff" stroke-width="7"/><path d="{path}" fill="none" stroke="#000" stroke-width="3"><title>{hover}</title></path>"##
        );
    } else {
        let _ = write!(
            svg,
            r#"<path d="{path}" fill="{fill}"><title>{hover}</title></path>"#
        );
    }
}

fn says(county: &DrawnCounty) -> String {
    match county.cell {
        Some(Cell::Pressure(median)) => {
            format!("median pressure {}", display_number(median, Form::Pressure))
        }
        _ => county.class.words().to_owned(),
    }
}

/// Height of the numbers, in pixels of a map 720 wide: legible on a phone and on paper, where it is half as wide.
const NUMBER_SIZE: f64 = 24.0;

/// Numbers a county where the number fits inside it; the table has the same numbers beside the names.
fn draw_number(svg: &mut String, county: &DrawnCounty) {
    let number = county.number.to_string();
    // Digits of a common sans serif are about 0.6 of the size wide and 0.73 high; from memory.
    let needed = number.len() as f64 * NUMBER_SIZE * 0.6 + 6.0;
    let half_height = NUMBER_SIZE * 0.73 / 2.0 + 2.0;
    let Some((middle, level)) = room_for(&county.rings, needed, half_height) else {
        return;
    };
    let ink = county.class.ink();
    // On a pattern the digits need a clear ground of their own.
    let halo = match county.class {
        Class::TooFewFields | Class::OutsideStage | Class::NoVisits => {
            r##" stroke="#fff" stroke-width="6" paint-order="stroke""##
        }
        _ => "",
    };
    let _ = write!(
        svg,
        r#"<text x="{}" y="{}" fill="{ink}"{halo}>{number}</text>"#,
        tenth(middle),
        tenth(level + NUMBER_SIZE * 0.73 / 2.0),
    );
}

/// The description for those who do not see the map, from the same cells.
fn describe(counties: &[DrawnCounty]) -> String {
    let parts: Vec<String> = Class::ALL
        .iter()
        .map(|class| (class, count(*class, counties)))
        .filter(|(_, count)| *count > 0)
        .map(|(class, count)| {
            let counties = count_of(count, "county", "counties");
            format!("{counties}: {}", class.words())
        })
        .collect();
    let at_threshold = counties.iter().filter(|c| c.class.at_threshold()).count();
    let mut highest: Option<(f64, &str)> = None;
    for county in counties {
        if let Some(Cell::Pressure(median)) = county.cell
            && highest.is_none_or(|(best, _)| median > best)
        {
            highest = Some((median, county.name));
        }
    }
    let highest = highest.map_or_else(String::new, |(median, name)| {
        let median = display_number(median, Form::Pressure);
        format!(" The highest median is {median}, in {name}.")
    });
    let total = count_of(counties.len(), "county", "counties");
    let parts = parts.join("; ");
    let whose = if at_threshold == 1 { "has" } else { "have" };
    format!(
        "Of {total}, {at_threshold} {whose} a median at or above threshold.{highest} {parts}. The table \
         below the map has the same figures, and each county's number on the map."
    )
}

fn count(class: Class, counties: &[DrawnCounty]) -> usize {
    counties
        .iter()
        .filter(|county| county.class == class)
        .count()
}

/// A field of the legend, painted as the class is.
pub(super) fn swatch(class: Class) -> String {
    let fill = class.fill();
    let edge = match class.at_threshold() {
        true => {
            r##"stroke="#fff" stroke-width="6"/><path d="M2 2h28v16h-28Z" fill="none" stroke="#000" stroke-width="2.5""##
        }
        false => r##"stroke="#555" stroke-width="1""##,
    };
    format!(
        r#"<svg class="swatch" viewBox="0 0 32 20" aria-hidden="true"><rect x="2" y="2" width="28" height="16" fill="{fill}" {edge}/></svg>"#
    )
}

fn legend_entry(class: Class, counties: &[DrawnCounty]) -> LegendEntry {
    LegendEntry {
        swatch: swatch(class),
        words: class.words(),
        counties: count_of(count(class, counties), "county", "counties"),
    }
}
