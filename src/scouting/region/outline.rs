//! The labelled outline of one feature, as both formats of boundaries give it, and what is wrong with a feature.

use std::borrow::Cow;

use geo::Coord;
use serde_json::{Map, Value};

use crate::failure::{Failure, Kind};

/// Vertices in degrees, x the longitude; as the file has them, closed or not.
pub(super) type Ring = Vec<Coord<f64>>;

/// One feature: its labels, and its polygons, each the exterior ring and then the holes.
pub(super) struct Outline {
    pub(super) place: String,
    pub(super) id: String,
    pub(super) name: String,
    pub(super) polygons: Vec<Vec<Ring>>,
}

/// Which properties of a feature are its id and its name.
pub(super) struct Labels<'a> {
    pub(super) id_property: &'a str,
    pub(super) name_property: &'a str,
}

impl Labels<'_> {
    /// The id and the name of a feature. `own_id` is the feature's top-level `id`, which serves
    /// where a property called `id` was asked for and is absent.
    pub(super) fn read(
        &self,
        place: &str,
        own_id: Option<&Value>,
        properties: Option<&Map<String, Value>>,
    ) -> Result<(String, String), Failure> {
        let find = |role: &str, property: &str| {
            let own = own_id.filter(|_| property == "id");
            properties
                .and_then(|properties| properties.get(property))
                .or(own)
                .and_then(label_text)
                .ok_or_else(|| missing_label(place, role, property, own_id, properties))
        };
        Ok((
            find("id", self.id_property)?,
            find("name", self.name_property)?,
        ))
    }
}

/// A label as text. A whole number is written without a fraction, since spreadsheets turn 46013
/// into 46013.0.
pub(super) fn label_text(value: &Value) -> Option<String> {
    match value {
        Value::String(text) if !text.trim().is_empty() => Some(text.clone()),
        Value::Number(number) => Some(match number.as_f64() {
            Some(float) if number.is_f64() && float.fract() == 0.0 => format!("{float:.0}"),
            _ => number.to_string(),
        }),
        _ => None,
    }
}

fn missing_label(
    place: &str,
    role: &str,
    property: &str,
    own_id: Option<&Value>,
    properties: Option<&Map<String, Value>>,
) -> Failure {
    let mut there: Vec<&str> = properties
        .into_iter()
        .flat_map(|properties| properties.keys().map(String::as_str))
        .collect();
    if own_id.is_some() && !there.contains(&"id") {
        there.push("id");
    }
    let there = match there.is_empty() {
        true => "it has none".to_owned(),
        false => format!("it has: {}", there.join(", ")),
    };
    unusable(
        place,
        format!("a feature has no {role}: property \"{property}\" is absent or empty; {there}"),
    )
    .mend(format!(
        "name the property that holds the {role} with --{role}-property"
    ))
}

/// The failure of a boundary file, at a place.
pub(super) fn unusable<'a>(place: &str, what: impl Into<Cow<'a, str>>) -> Failure {
    Failure::new(Kind::Boundaries, what.into().into_owned()).at(place)
}

/// A feature that has no geometry.
pub(super) fn no_geometry(place: &str) -> Failure {
    unusable(place, "a feature has no geometry")
        .mend("give the county its outline, or take the feature out of the file")
}

/// A position that lacks its latitude.
pub(super) fn short_position(place: &str) -> Failure {
    unusable(place, "a position has fewer than two numbers")
}

/// A feature that is not an area.
pub(super) fn not_a_polygon(place: &str, found: &str) -> Failure {
    unusable(
        place,
        format!("a county must be a Polygon or a MultiPolygon; found {found}"),
    )
    .mend("take the feature out of the file, or give the county its outline")
}
