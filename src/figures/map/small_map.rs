//! Small maps of one region, as many as a page needs: a county's outline is on the page once, and each map uses it.
//!
//! A small map shows where and how much, and no number of a county. Patterns cannot be told apart at this size: a county
//! without a class of the median is white, and whether a field of it is at threshold its outline says.

use std::collections::HashMap;
use std::fmt::Write;

use crate::shared::chart::escaped;
use crate::shared::classes::{BORDER, Class};
use crate::shared::count_words::CountWords;
use crate::shared::map_frame::{Frame, path_of};
use crate::shared::shown_numbers::count_of;
use disclosure::public_row::PublicRow;
use disclosure::rule::Level;
use scouting::region::Region;

/// Size of a small map, as a part of the alert's.
const PART: f64 = 0.25;

/// The small maps of a page.
pub(crate) struct SmallMaps {
    width: f64,
    height: f64,
    /// Place of each county among the outlines, by id.
    places: HashMap<String, usize>,
    /// The outlines as an element that shows nothing.
    outlines: String,
}

impl SmallMaps {
    /// Lays out the counties of a region.
    pub(crate) fn of(region: &Region) -> SmallMaps {
        let frame = Frame::around(region.counties());
        let mut outlines =
            r#"<svg class="outlines" width="0" height="0" aria-hidden="true" focusable="false"><defs>"#
                .to_owned();
        let mut all = String::new();
        let mut places = HashMap::new();
        for (place, county) in region.counties().iter().enumerate() {
            let mut rings = frame.place(county);
            for point in rings.iter_mut().flatten() {
                *point = point.map(|pixels| pixels * PART);
            }
            // Writing to a String cannot fail.
            let _ = write!(outlines, r#"<path id="c{place}" d="{}"/>"#, path_of(&rings));
            let _ = write!(all, r##"<use href="#c{place}"/>"##);
            places.insert(county.id.clone(), place);
        }
        let _ = write!(outlines, r#"<g id="all-counties">{all}</g></defs></svg>"#);
        SmallMaps {
            width: (f64::from(frame.width) * PART).ceil(),
            height: (f64::from(frame.height) * PART).ceil(),
            places,
            outlines,
        }
    }

    /// The outlines: once on the page, before the first map.
    pub(crate) fn outlines(&self) -> &str {
        &self.outlines
    }

    /// The map of the rows of one week and protocol; `about` says what and when.
    pub(crate) fn draw(&self, rows: &[PublicRow], about: &str, words: CountWords) -> String {
        let rows = rows.iter();
        let mut counties: Vec<(usize, Class, bool)> = rows
            .filter_map(|row| {
                let place = *self.places.get(row.place.county()?)?;
                Some((place, Class::of(Some(row)), row.at_threshold[0] > 0))
            })
            .collect();
        // What is drawn last is on top.
        counties.sort_by_key(|(place, _, is_over)| (*is_over, *place));
        let over = counties.iter().filter(|(_, _, is_over)| *is_over).count();
        let said = format!(
            "{about}: {} with figures, {over} with at least one {} {}",
            count_of(counties.len(), "county", "counties"),
            words.one(),
            words.at()
        );
        let mut svg = String::new();
        let (width, height) = (self.width, self.height);
        let _ = write!(
            svg,
            r##"<svg class="map small" xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {width} {height}" role="img" aria-label="{}"><g stroke="{BORDER}" stroke-width=".5" stroke-linejoin="round" fill-rule="evenodd"><use href="#all-counties" fill="{}"/>"##,
            escaped(&said),
            Class::NoFigures.ground(),
        );
        for (place, class, is_over) in counties {
            let fill = class.ground();
            let _ = match is_over {
                // A white casing keeps the dark line visible on the darkest fills.
                true => write!(
                    svg,
                    r##"<use href="#c{place}" fill="{fill}" stroke="#fff" stroke-width="2.4"/><use href="#c{place}" fill="none" stroke="#000" stroke-width="1.2"/>"##
                ),
                false => write!(svg, r##"<use href="#c{place}" fill="{fill}"/>"##),
            };
        }
        svg.push_str("</g></svg>");
        svg
    }

    /// The classes of the median that the maps are painted in, from low to high.
    pub(crate) fn scale() -> impl Iterator<Item = Class> {
        Class::known(&[Level::Survey])
            .into_iter()
            .filter(|class| matches!(class, Class::NothingFound | Class::Median(..)))
    }

    /// What white, gray and the outline mean, in a sentence.
    pub(crate) fn legend(words: CountWords) -> String {
        words.said(
            "Black outline: at least one field at threshold. White: too few fields for a class of the median, or all at \
             another crop stage. Gray: no figures.",
        )
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use disclosure::invented;
    use disclosure::place::Place;

    #[test]
    fn each_county_with_a_row_is_painted_in_its_class_over_outlines_that_are_there_once() {
        let region = Region::built_in("us:46").expect("South Dakota");
        let maps = SmallMaps::of(&region);
        assert_eq!(
            maps.outlines().matches("<path").count(),
            region.counties().len()
        );
        let row = invented_row(&region.counties()[3].id, 2.0);
        let class = Class::of(Some(&row));
        let map = maps.draw(&[row], "Moths, <week>", CountWords::Threshold);
        assert!(
            map.contains(&format!("<use href=\"#c3\" fill=\"{}\"", class.ground())),
            "{map}"
        );
        assert!(map.contains("Moths, &#60;week&#62;: 1 county with figures, 1 with at least one field at threshold"), "{map}");
        let none = maps.draw(&[], "Moths", CountWords::Threshold);
        assert!(
            none.contains("0 counties with figures") && !none.contains("#000"),
            "{none}"
        );
    }

    /// The row of a county with six fields of this pressure.
    fn invented_row(county: &str, pressure: f64) -> PublicRow {
        PublicRow {
            place: Place::County(county.to_owned()),
            ..invented::row_of(&invented::fields(&[pressure; 6]), Level::Survey)
        }
    }
}
