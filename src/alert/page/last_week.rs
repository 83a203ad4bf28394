//! Last week's map, small, for a week that is still coming in: what was there once more reports had arrived.
//!
//! It has no numbers and no legend: the large map of the page has the legend and the patterns of the fills.

use std::collections::HashMap;
use std::fmt::Write;

use crate::alert::bulletin::{Bulletin, LastWeek};
use crate::shared::chart::escaped;
use crate::shared::classes::{BORDER, Class};
use crate::shared::map_frame::{Frame, path_of};
use crate::shared::shown_days::week_ending;
use crate::shared::shown_names::{display_name, display_names};
use crate::shared::shown_numbers::count_of;
use disclosure::public_row::PublicRow;

/// The map of the week before and what is said of it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct LastWeekMap {
    /// The `svg` element, safe to set into a page that has the map of the week.
    pub svg: String,
    /// `week ending August 5, 2026`.
    pub week: String,
    /// How many fields in how many counties.
    pub coverage: String,
    /// How much of the week's reports had come in.
    pub reporting: String,
}

/// The map of the week before, where it shows more counties than this week does; `None` otherwise.
pub(crate) fn last_week_map(bulletin: &Bulletin) -> Option<LastWeekMap> {
    let last = bulletin.last_week?;
    let shown = |rows: &[PublicRow]| {
        let counties = rows.iter().filter(|row| row.place.county().is_some());
        counties.filter(|row| row.fields_visited > 0).count()
    };
    let (now, then) = (shown(bulletin.rows), shown(last.rows));
    if then <= now {
        return None;
    }
    let week = week_ending(last.week, bulletin.weeks);
    let of_counties = last.rows.iter().filter(|row| row.place.county().is_some());
    let fields: u32 = of_counties.map(|row| row.fields_visited).sum();
    let words = bulletin.protocol.words();
    Some(LastWeekMap {
        svg: draw(bulletin, last, &week),
        coverage: format!(
            "{} in {}",
            count_of(fields as usize, words.one(), words.several()),
            count_of(then, "county", "counties")
        ),
        reporting: last.reporting.to_owned(),
        week,
    })
}

fn draw(bulletin: &Bulletin, last: LastWeek, week: &str) -> String {
    let (region, words) = (bulletin.region, bulletin.protocol.words());
    let rows: HashMap<&str, &PublicRow> = last
        .rows
        .iter()
        .filter_map(|row| Some((row.place.county()?, row)))
        .collect();
    let names = display_names(region);
    let frame = Frame::around(region.counties());
    let heading = format!(
        "Map of median pressure by county: {}, {week}",
        bulletin.protocol.title
    );
    let mut svg = String::new();
    // Writing to a String cannot fail.
    let _ = write!(
        svg,
        r#"<svg class="map" xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {} {}" role="img" aria-labelledby="last-week-map-title"><title id="last-week-map-title">{}</title><g stroke="{BORDER}" stroke-width="2" stroke-linejoin="round" fill-rule="evenodd">"#,
        frame.width,
        frame.height,
        escaped(&display_name(&heading)),
    );
    let mut counties: Vec<_> = region
        .counties()
        .iter()
        .map(|county| (county, rows.get(&*county.id).copied()))
        .collect();
    let is_outlined =
        |row: Option<&PublicRow>| row.is_some_and(|row: &PublicRow| row.at_threshold[0] > 0);
    // The outline of a county with a field at threshold covers those of its neighbors.
    counties.sort_by_key(|(_, row)| is_outlined(*row));
    for (county, row) in counties {
        let class = Class::of(row);
        let (path, fill) = (path_of(&frame.place(county)), class.fill());
        let hover = escaped(&format!("{}: {}", names[&*county.id], class.words(words)));
        let outline = match is_outlined(row) {
            true => r##" stroke="#000" stroke-width="5""##,
            false => "",
        };
        let _ = write!(
            svg,
            r#"<path d="{path}" fill="{fill}"{outline}><title>{hover}</title></path>"#
        );
    }
    svg.push_str("</g></svg>");
    svg
}
