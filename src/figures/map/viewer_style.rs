//! What viewers read of a feature that know no style file: its class in words, and its title, description and colors as
//! simplestyle-spec 1.1.0 names them. It says nothing that the columns of the feature do not say.

use serde::Serialize;
use serde_json::{Map, Value, json};

use super::rules::{Named, outlined, rules};
use crate::shared::cautions;
use crate::shared::classes::{BORDER, Class, INK};
use crate::shared::count_words::CountWords;
use crate::shared::tables::ColumnDoc;
use crate::shared::unseen::plain_text;
use disclosure::public_row::PublicRow;
use scouting::failure::{Failure, Kind};

/// Opaque enough that a color is known from the legend; roads of a base map shine through.
const OPACITY: f64 = 0.8;
/// Widths of borders, as simplestyle has them, in pixels.
const BORDER_WIDTH: f64 = 1.0;
const OUTLINE_WIDTH: f64 = 3.0;

/// The members as the page of columns describes them.
pub(crate) const VIEWER_COLUMNS: [ColumnDoc; 7] = [
    ColumnDoc {
        name: "class",
        description: "GeoJSON alone: the class of the map in words",
        unit: None,
    },
    ColumnDoc {
        name: "title",
        description: "GeoJSON alone, for viewers that take no style file (simplestyle-spec 1.1): name of the county",
        unit: None,
    },
    ColumnDoc {
        name: "description",
        description: "GeoJSON alone: protocol, week, class and counts in a sentence",
        unit: None,
    },
    ColumnDoc {
        name: "fill",
        description: "GeoJSON alone: color of the class",
        unit: None,
    },
    ColumnDoc {
        name: "fill-opacity",
        description: "GeoJSON alone: its opacity, 0 to 1",
        unit: None,
    },
    ColumnDoc {
        name: "stroke",
        description: "GeoJSON alone: color of the outline, black where at least one field is at threshold",
        unit: None,
    },
    ColumnDoc {
        name: "stroke-width",
        description: "GeoJSON alone: width of the outline, pixels; wider where at least one field is at threshold",
        unit: None,
    },
];

/// What a map shows of a row.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct ShownRow {
    class: Class,
    fields: u32,
    at_threshold: [u32; 2],
}

impl ShownRow {
    /// That of a county's public row; `None` is a county without one.
    pub(crate) fn of(row: Option<&PublicRow>) -> ShownRow {
        ShownRow {
            class: Class::of(row),
            fields: row.map_or(0, |row| row.fields_visited),
            at_threshold: row.map_or([0, 0], |row| row.at_threshold),
        }
    }

    /// The members of a feature, in their order.
    pub(super) fn members(
        &self,
        named: &Named,
        (county, iso_week): (&str, &str),
    ) -> [(&'static str, Value); 7] {
        let class = self.class.words(named.words);
        let is_outlined = self.at_threshold[0] > 0;
        let (stroke, width) = match is_outlined {
            true => (INK, OUTLINE_WIDTH),
            false => (BORDER, BORDER_WIDTH),
        };
        let figures = match (self.fields, self.at_threshold) {
            (0, _) => String::new(),
            (fields, [least, most]) => {
                let at = match least == most {
                    true => least.to_string(),
                    false => format!("{least} to {most}"),
                };
                let said = format!(" Number of fields: {fields}, of them at threshold: {at}.");
                named.words.said(&said)
            }
        };
        let description = format!("{}, {iso_week}: {class}.{figures}", named.title);
        [
            ("class", json!(class)),
            ("title", json!(plain_text(county))),
            ("description", json!(plain_text(&description))),
            ("fill", json!(long_color(self.class.ground()))),
            ("fill-opacity", json!(OPACITY)),
            ("stroke", json!(long_color(stroke))),
            ("stroke-width", json!(width)),
        ]
    }
}

/// A color in six digits, since not every viewer knows three.
fn long_color(color: &str) -> String {
    match color.strip_prefix('#') {
        Some(digits) if digits.len() == 3 => {
            let twice = digits.chars().flat_map(|digit| [digit, digit]);
            format!("#{}", twice.collect::<String>())
        }
        _ => color.to_owned(),
    }
}

/// A class as the legend file has it.
#[derive(Serialize)]
struct LegendClass {
    class: String,
    fill: String,
    status: &'static str,
    #[serde(skip_serializing_if = "Map::is_empty", flatten)]
    median: Map<String, Value>,
}

/// The legend of a map file as JSON: each of these classes in its order, with its words, its color and how it is
/// found in the file.
///
/// # Errors
/// A [`Failure`] if it cannot be written.
pub(crate) fn legend_json(classes: &[Class], words: CountWords) -> Result<Vec<u8>, Failure> {
    let classes = rules(classes).into_iter().map(|rule| LegendClass {
        class: rule.class.words(words),
        fill: long_color(rule.fill),
        status: rule.status,
        median: match rule.median {
            Some((level, class)) => [
                ("level".to_owned(), json!(level)),
                ("median_class".to_owned(), json!(class)),
            ]
            .into_iter()
            .collect(),
            None => Map::new(),
        },
    });
    let legend = json!({
        "about": words.said("Colors of the median pressure by county: the median count as a multiple of each field's threshold"),
        "caution": cautions::IN_ONE_SENTENCE,
        "classes": classes.collect::<Vec<_>>(),
        "outline": { "words": outlined(words), "stroke": long_color(INK), "stroke-width": OUTLINE_WIDTH },
    });
    serde_json::to_vec_pretty(&legend)
        .map_err(|error| Failure::because(Kind::Publish, "cannot write the legend", error))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn colors_have_six_digits() {
        assert_eq!(long_color("#fff"), "#ffffff");
        assert_eq!(long_color("#fee838"), "#fee838");
    }

    #[test]
    fn the_legend_has_every_class_with_its_color() {
        let all = Class::legend_of(std::iter::empty());
        let legend = legend_json(&all, CountWords::Threshold).expect("a legend");
        let legend: Value = serde_json::from_slice(&legend).expect("JSON");
        let classes = legend["classes"].as_array().expect("classes");
        assert_eq!(classes.len(), all.len());
        for (found, class) in classes.iter().zip(all) {
            assert_eq!(found["class"], class.words(CountWords::Threshold));
            assert_eq!(found["fill"], long_color(class.ground()));
            assert_eq!(found["status"], class.status());
            assert_eq!(found["median_class"].is_string(), class.band().is_some());
        }
    }
}
