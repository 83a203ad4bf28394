//! The county map as inline SVG, with a legend in words.
//!
//! Colours the median pressure of a county's fields in fixed classes, the same every week, so that
//! two maps compare. Shows no single field, and never colours a county of which nothing is known.

use std::collections::HashMap;
use std::fmt::Write;

use askama::filters::{Html, escape};

use crate::publish::outline::{Extent, Polygon, rings_of};
use crate::publish::wording::{Form, count_of, display_name, display_names, display_number};
use crate::region::{County, Region};
use crate::rollup::county_week::{Cell, CountyWeek};

/// How a county is painted. The order is that of the legend.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Class {
    /// Visited, and nothing found in any field.
    NoneFound,
    /// Something found; the place of the median in [`LOWER_BOUNDS`].
    Median(usize),
    /// Suppressed.
    TooFewFields,
    /// All visits outside the stage window.
    OutsideStage,
    /// No row.
    NoVisits,
}

/// Lower bounds of the classes of the median pressure, each class half-open: a median of exactly 1
/// is at threshold and belongs to the upper class.
pub const LOWER_BOUNDS: [f64; 6] = [0.0, 0.25, 0.5, 0.75, 1.0, 1.5];

/// Fill and ink of each class of the median: six even steps of cividis from light to dark (Nuñez,
/// Anderton and Renslow 2018, PLOS ONE 13(7): e0199239; values as matplotlib 3.11 gives them). Its
/// lightness falls evenly, so that the order survives colour blindness and grey print. The ink is
/// black or white, whichever contrasts with the fill by 4.5 to 1 or more.
pub const FILLS: [(&str, &str); 6] = [
    ("#fee838", "#000"),
    ("#c8b866", "#000"),
    ("#948e77", "#000"),
    ("#666970", "#fff"),
    ("#35456c", "#fff"),
    ("#00224e", "#fff"),
];

pub(super) const NONE_FOUND_FILL: &str = "#fffdf0";
pub(super) const INK: &str = "#000";
pub(super) const BORDER: &str = "#555";

impl Class {
    /// Every class, in the order of the legend.
    pub const ALL: [Class; 10] = [
        Class::NoneFound,
        Class::Median(0),
        Class::Median(1),
        Class::Median(2),
        Class::Median(3),
        Class::Median(4),
        Class::Median(5),
        Class::TooFewFields,
        Class::OutsideStage,
        Class::NoVisits,
    ];

    /// The class of a county; `None` for one without a row.
    pub fn of(cell: Option<Cell>) -> Class {
        match cell {
            None => Class::NoVisits,
            Some(Cell::Suppressed) => Class::TooFewFields,
            Some(Cell::OutsideStage) => Class::OutsideStage,
            Some(Cell::NoneFound) => Class::NoneFound,
            Some(Cell::Pressure(median)) => {
                let above = |bound: &f64| median >= *bound;
                Class::Median(LOWER_BOUNDS.iter().rposition(above).unwrap_or_default())
            }
        }
    }

    /// Whether the median is at or above threshold.
    pub fn at_threshold(self) -> bool {
        matches!(self, Class::Median(place) if LOWER_BOUNDS[place] >= 1.0)
    }

    /// The class in words.
    pub fn words(self) -> &'static str {
        match self {
            Class::NoneFound => "nothing found",
            Class::Median(0) => "some found, median under 0.25",
            Class::Median(1) => "0.25 to under 0.5",
            Class::Median(2) => "0.5 to under 0.75",
            Class::Median(3) => "0.75 to under 1",
            Class::Median(4) => "1 to under 1.5: at or above threshold",
            Class::Median(_) => "1.5 or more: at or above threshold",
            Class::TooFewFields => "too few fields to show",
            Class::OutsideStage => "all fields outside the stage window",
            Class::NoVisits => "no visits",
        }
    }

    fn fill(self) -> &'static str {
        match self {
            Class::NoneFound => NONE_FOUND_FILL,
            Class::Median(place) => FILLS[place].0,
            Class::TooFewFields => "url(#map-too-few-fields)",
            Class::OutsideStage => "url(#map-outside-stage)",
            Class::NoVisits => "url(#map-no-visits)",
        }
    }

    fn ink(self) -> &'static str {
        match self {
            Class::Median(place) => FILLS[place].1,
            _ => INK,
        }
    }
}

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
    let frame = Frame::around(region.counties());
    let mut counties: Vec<_> = region
        .counties()
        .iter()
        .map(|county| DrawnCounty {
            class: Class::of(cells.get(&*county.id).copied()),
            cell: cells.get(&*county.id).copied(),
            name: &names[&*county.id],
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
    svg.push_str(
        r#"</g><g class="names" font-size="13" text-anchor="middle" stroke-linejoin="round">"#,
    );
    // A few names among many counties would look like a choice of ours.
    let fits = |county: &&DrawnCounty| room_for_name(county).is_some();
    if counties.iter().filter(fits).count() * 2 >= counties.len() {
        for county in counties {
            draw_name(&mut svg, county);
        }
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
    let hover = escaped(&format!("{}: {}", county.name, says(county)));
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

/// Middle and base line of a county's name, if it fits inside the county.
fn room_for_name(county: &DrawnCounty) -> Option<(f64, f64)> {
    let (middle, level, room) = widest_line(&county.rings)?;
    // Letters of a common sans serif are about 0.6 of the size wide on average; from memory.
    let needed = county.name.chars().count() as f64 * 13.0 * 0.6;
    (needed <= room - 8.0).then_some((middle, level + 4.5))
}

/// Names a county where the name fits inside it; the table names them all.
fn draw_name(svg: &mut String, county: &DrawnCounty) {
    let Some((middle, baseline)) = room_for_name(county) else {
        return;
    };
    let ink = county.class.ink();
    // On a pattern the letters need a clear ground of their own.
    let halo = match county.class {
        Class::TooFewFields | Class::OutsideStage | Class::NoVisits => {
            r##" stroke="#fff" stroke-width="4" paint-order="stroke""##
        }
        _ => "",
    };
    let _ = write!(
        svg,
        r#"<text x="{}" y="{}" fill="{ink}"{halo}>{}</text>"#,
        tenth(middle),
        tenth(baseline),
        escaped(county.name),
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
         below the map has the same figures."
    )
}

fn count(class: Class, counties: &[DrawnCounty]) -> usize {
    counties
        .iter()
        .filter(|county| county.class == class)
        .count()
}

fn legend_entry(class: Class, counties: &[DrawnCounty]) -> LegendEntry {
    let fill = class.fill();
    let edge = match class.at_threshold() {
        true => {
            r##"stroke="#fff" stroke-width="6"/><path d="M2 2h28v16h-28Z" fill="none" stroke="#000" stroke-width="2.5""##
        }
        false => r##"stroke="#555" stroke-width="1""##,
    };
    LegendEntry {
        swatch: format!(
            r#"<svg class="swatch" viewBox="0 0 32 20" aria-hidden="true"><rect x="2" y="2" width="28" height="16" fill="{fill}" {edge}/></svg>"#
        ),
        words: class.words(),
        counties: count_of(count(class, counties), "county", "counties"),
    }
}

fn escaped(text: &str) -> String {
    match escape(text, Html) {
        Ok(safe) => safe.to_string(),
        Err(never) => match never {},
    }
}

/// Positions on the drawing, closed.
type Ring = Vec<[f64; 2]>;

/// Where degrees fall on the drawing: equirectangular, true to scale along the middle parallel,
/// which over a state or two looks like any other map.
struct Frame {
    extent: Extent,
    pixels_per_degree_east: f64,
    pixels_per_degree_north: f64,
    width: u32,
    height: u32,
}

impl Frame {
    const WIDTH_MAX: f64 = 720.0;
    const HEIGHT_MAX: f64 = 560.0;
    /// Room for the outlines of the counties on the edge.
    const MARGIN: f64 = 5.0;

    fn around(counties: &[County]) -> Frame {
        let polygons: Vec<Polygon> = counties.iter().flat_map(rings_of).collect();
        let extent = Extent::around(polygons.iter()).unwrap_or(Extent {
            west: -1.0,
            south: -1.0,
            east: 1.0,
            north: 1.0,
        });
        // Degrees are compared along the middle parallel; a sliver keeps zero-width regions apart.
        let shrink = ((extent.south + extent.north) / 2.0)
            .to_radians()
            .cos()
            .max(0.01);
        let wide = (degrees_east(extent.west, extent.east) * shrink).max(1e-6);
        let high = (extent.north - extent.south).max(1e-6);
        let scale = ((Self::WIDTH_MAX - 2.0 * Self::MARGIN) / wide)
            .min((Self::HEIGHT_MAX - 2.0 * Self::MARGIN) / high);
        Frame {
            extent,
            pixels_per_degree_east: scale * shrink,
            pixels_per_degree_north: scale,
            // At most a few hundred, by the scale that was chosen.
            width: (wide * scale + 2.0 * Self::MARGIN).ceil() as u32,
            height: (high * scale + 2.0 * Self::MARGIN).ceil() as u32,
        }
    }

    /// The rings of a county on the drawing, the largest first.
    fn place(&self, county: &County) -> Vec<Ring> {
        let place = |&[lon, lat]: &[f64; 2]| {
            let east = degrees_east(self.extent.west, lon);
            [
                Self::MARGIN + east * self.pixels_per_degree_east,
                Self::MARGIN + (self.extent.north - lat) * self.pixels_per_degree_north,
            ]
        };
        let mut rings: Vec<Ring> = rings_of(county)
            .flatten()
            .map(|ring| ring.iter().map(place).collect())
            .collect();
        rings.sort_by(|one, other| area(other).total_cmp(&area(one)));
        rings
    }
}

/// How far east of `from` a longitude is, across the 180th meridian if need be.
fn degrees_east(from: f64, to: f64) -> f64 {
    if to < from {
        to - from + 360.0
    } else {
        to - from
    }
}

fn area(ring: &Ring) -> f64 {
    let cross = |pair: &[[f64; 2]]| pair[0][0] * pair[1][1] - pair[1][0] * pair[0][1];
    (ring.windows(2).map(cross).sum::<f64>() / 2.0).abs()
}

/// The longest stretch inside a county on the level line through the middle of its largest ring:
/// the stretch's middle, the level, and its length. Holes are outside.
fn widest_line(rings: &[Ring]) -> Option<(f64, f64, f64)> {
    let heights = || rings.first().into_iter().flatten().map(|point| point[1]);
    let (low, high) = (
        heights().fold(f64::INFINITY, f64::min),
        heights().fold(f64::NEG_INFINITY, f64::max),
    );
    let level = (low + high) / 2.0;
    let mut crossings: Vec<f64> = rings
        .iter()
        .flat_map(|ring| ring.windows(2))
        .filter(|pair| (pair[0][1] > level) != (pair[1][1] > level))
        .map(|pair| {
            let along = (level - pair[0][1]) / (pair[1][1] - pair[0][1]);
            pair[0][0] + along * (pair[1][0] - pair[0][0])
        })
        .collect();
    crossings.sort_by(f64::total_cmp);
    crossings
        .chunks_exact(2)
        .map(|pair| ((pair[0] + pair[1]) / 2.0, level, pair[1] - pair[0]))
        .max_by(|one, other| one.2.total_cmp(&other.2))
}

/// Path commands in tenths of a pixel. Rings that shrink to a point are left out, but a county
/// never vanishes: one of which nothing is left becomes a small square.
fn path_of(rings: &[Ring]) -> String {
    let mut path = String::new();
    for ring in rings {
        let mut points: Vec<[i64; 2]> = ring.iter().map(|point| point.map(tenths)).collect();
        points.dedup();
        if points.first() == points.last() {
            points.pop();
        }
        if points.len() < 3 {
            continue;
        }
        for (place, point) in points.iter().enumerate() {
            match place {
                0 => path.push('M'),
                1 => path.push('L'),
                _ => path.push(' '),
            }
            let _ = write!(path, "{} {}", decimal(point[0]), decimal(point[1]));
        }
        path.push('Z');
    }
    match (path.is_empty(), rings.first().and_then(|ring| ring.first())) {
        (true, Some([x, y])) => format!("M{} {}h3v3h-3Z", tenth(*x), tenth(*y)),
        _ => path,
    }
}

/// Tenths of a pixel, of a position inside the frame.
fn tenths(pixels: f64) -> i64 {
    (pixels * 10.0).round() as i64
}

fn tenth(pixels: f64) -> String {
    decimal(tenths(pixels))
}

/// A number of tenths in the shortest form.
fn decimal(tenths: i64) -> String {
    match tenths % 10 {
        0 => (tenths / 10).to_string(),
        _ => format!("{}", tenths as f64 / 10.0),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn class_of(median: f64) -> Class {
        Class::of(Some(Cell::Pressure(median)))
    }

    #[test]
    fn classes_are_half_open_and_one_is_at_threshold() {
        for (median, place) in [
            (0.0, 0),
            (0.249_999_999_9, 0),
            (0.25, 1),
            (0.5, 2),
            (0.75, 3),
            (0.999_999_999_9, 3),
            (1.0, 4),
            (1.499_999_999_9, 4),
            (1.5, 5),
            (1e9, 5),
        ] {
            assert_eq!(class_of(median), Class::Median(place), "{median}");
            assert_eq!(class_of(median).at_threshold(), median >= 1.0, "{median}");
        }
        assert_eq!(Class::of(Some(Cell::NoneFound)), Class::NoneFound);
        assert_eq!(Class::of(Some(Cell::Suppressed)), Class::TooFewFields);
        assert_eq!(Class::of(Some(Cell::OutsideStage)), Class::OutsideStage);
        assert_eq!(Class::of(None), Class::NoVisits);
    }

    /// Relative luminance and contrast as WCAG 2.2 defines them.
    fn luminance(colour: &str) -> f64 {
        let digits = &colour[1..];
        let channel = |place: usize| {
            let hex = match digits.len() {
                3 => digits[place..=place].repeat(2),
                _ => digits[2 * place..2 * place + 2].to_owned(),
            };
            let value = f64::from(u8::from_str_radix(&hex, 16).expect("a colour")) / 255.0;
            match value <= 0.04045 {
                true => value / 12.92,
                false => ((value + 0.055) / 1.055).powf(2.4),
            }
        };
        0.2126 * channel(0) + 0.7152 * channel(1) + 0.0722 * channel(2)
    }

    fn contrast(one: &str, other: &str) -> f64 {
        let (one, other) = (luminance(one), luminance(other));
        (one.max(other) + 0.05) / (one.min(other) + 0.05)
    }

    #[test]
    fn the_scale_darkens_step_by_step_and_names_can_be_read_on_it() {
        let fills = std::iter::once(NONE_FOUND_FILL).chain(FILLS.map(|(fill, _)| fill));
        let lightness: Vec<f64> = fills.map(luminance).collect();
        assert!(
            lightness.windows(2).all(|pair| pair[0] > pair[1] + 0.01),
            "{lightness:?}"
        );
        for (fill, ink) in FILLS {
            assert!(contrast(fill, ink) >= 4.5, "{ink} on {fill}");
        }
        assert!(contrast(NONE_FOUND_FILL, INK) >= 4.5);
        // WCAG 2.2, 1.4.11, for the border against the paper and the lightest fill.
        assert!(contrast(BORDER, "#fff") >= 3.0 && contrast(BORDER, FILLS[0].0) >= 3.0);
    }

    #[test]
    fn a_county_too_small_to_draw_still_leaves_a_mark() {
        let speck = vec![vec![
            [10.0, 20.0],
            [10.01, 20.0],
            [10.0, 20.01],
            [10.0, 20.0],
        ]];
        assert_eq!(path_of(&speck), "M10 20h3v3h-3Z");
        let triangle = vec![vec![[0.0, 0.0], [10.04, 0.0], [0.0, 7.26], [0.0, 0.0]]];
        assert_eq!(path_of(&triangle), "M0 0L10 0 0 7.3Z");
    }

    #[test]
    fn a_name_is_set_where_the_county_is_widest_at_mid_height() {
        // A U: at mid height its two arms, the right one wider.
        let u = vec![
            [0.0, 0.0],
            [10.0, 0.0],
            [10.0, 8.0],
            [20.0, 8.0],
            [20.0, 0.0],
            [50.0, 0.0],
            [50.0, 10.0],
            [0.0, 10.0],
            [0.0, 0.0],
        ];
        assert_eq!(
            widest_line(std::slice::from_ref(&u)),
            Some((35.0, 5.0, 30.0))
        );
        let hole = vec![[22.0, 4.0], [24.0, 4.0], [24.0, 6.0], [22.0, 4.0]];
        assert_eq!(widest_line(&[u, hole]), Some((37.0, 5.0, 26.0)));
    }
}
