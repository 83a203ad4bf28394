//! A MapLibre style (version 8) for the county-week GeoJSON next to it.
//!
//! Names no tile, font or sprite, so that a viewer needs no network. Without a sprite there are no patterns: the classes
//! that have no place on the scale are distinct by the dashes of their borders.

use serde_json::{Value, json};

use super::rows::MapRows;
use super::rules::{AT_THRESHOLD, Named, Rule, outlined, rules};
use crate::shared::cautions;
use crate::shared::classes::{BORDER, INK, Marks};
use crate::shared::count_words::CountWords;
use crate::shared::unseen::plain_text;
use scouting::failure::{Failure, Kind};

/// Name of the source in the style.
const SOURCE: &str = "county_week";

/// The style of a file, as JSON. Of a file with several weeks or protocols it draws one of each. `name_of` gives the
/// title and the words of a protocol by its id.
///
/// # Errors
/// A [`Failure`] if it cannot be written.
pub fn maplibre_style(
    rows: &MapRows,
    geojson_name: &str,
    iso_week: Option<&str>,
    protocol: Option<&str>,
    name_of: &dyn Fn(&str) -> Named,
) -> Result<Vec<u8>, Failure> {
    let region = rows.region;
    let rules = rules(&rows.classes);
    let named = protocol.map(name_of);
    let words = named
        .as_ref()
        .map_or(CountWords::Either, |named| named.words);
    let mut base = vec![json!("all")];
    for (member, value) in [("iso_week", iso_week), ("protocol", protocol)] {
        base.extend(value.map(|value| json!(["==", ["get", member], value])));
    }
    let mut layers = vec![json!({
        "id": "background",
        "type": "background",
        "paint": { "background-color": "#ffffff" },
    })];
    layers.extend(rules.iter().map(|rule| fill_layer(rule, &base, words)));
    layers.push(border_layer(&base));
    layers.extend(rules.iter().filter_map(|rule| marks_layer(rule, &base)));
    layers.extend(outline_layers(&base, words));
    let bounds = region.bounds();
    let wide = (bounds.max().x - bounds.min().x).max(0.01);
    let legend: Vec<Value> = rules
        .iter()
        .map(|rule| json!({ "words": rule.class.words(words), "fill": rule.fill }))
        .collect();
    let attribution = match region.invented() {
        Some(notice) => format!("{} {notice}", region.source()),
        None => region.source().to_owned(),
    };
    let named = named.map(|named| format!("{}: ", named.title));
    let name = format!(
        "{}median by county, {}",
        named.unwrap_or_default(),
        region.title()
    );
    let style = json!({
        "version": 8,
        "name": plain_text(&name),
        "metadata": {
            "caution": cautions::IN_ONE_SENTENCE,
            "iso_week": iso_week,
            "protocol": protocol,
            "legend": legend,
            "outline": outlined(words),
        },
        "center": [middle(bounds.min().x, bounds.max().x), middle(bounds.min().y, bounds.max().y)],
        // The whole world is 512 pixels wide at zoom 0; the region gets about that.
        "zoom": round((360.0 / wide).log2()),
        "sources": {
            SOURCE: { "type": "geojson", "data": geojson_name, "attribution": escaped(&plain_text(&attribution)) },
        },
        "layers": layers,
    });
    let failed = |error| Failure::because(Kind::Publish, "cannot write the style", error);
    serde_json::to_vec_pretty(&style).map_err(failed)
}

fn middle(from: f64, to: f64) -> f64 {
    round((from + to) / 2.0)
}

fn round(value: f64) -> f64 {
    (value * 1000.0).round() / 1000.0
}

/// A viewer sets the attribution as HTML.
fn escaped(text: &str) -> String {
    text.replace('&', "&amp;")
        .replace('<', "&lt;")
        .replace('>', "&gt;")
}

fn filter(rule: &Rule, base: &[Value]) -> Value {
    let mut all = base.to_vec();
    all.push(json!(["==", ["get", "status"], rule.status]));
    if let Some((level, median_class)) = &rule.median {
        all.push(json!(["==", ["get", "level"], level]));
        all.push(json!(["==", ["get", "median_class"], median_class]));
    }
    Value::Array(all)
}

fn layer_id(rule: &Rule) -> String {
    match &rule.median {
        Some((level, median_class)) => format!("{}-{level}-{median_class}", rule.status),
        None => rule.status.to_owned(),
    }
}

fn fill_layer(rule: &Rule, base: &[Value], words: CountWords) -> Value {
    json!({
        "id": layer_id(rule),
        "type": "fill",
        "source": SOURCE,
        "metadata": { "words": rule.class.words(words) },
        "filter": filter(rule, base),
        "paint": { "fill-color": rule.fill, "fill-antialias": false },
    })
}

fn border_layer(base: &[Value]) -> Value {
    json!({
        "id": "borders",
        "type": "line",
        "source": SOURCE,
        "filter": base,
        "layout": { "line-join": "round" },
        "paint": { "line-color": BORDER, "line-width": 0.7 },
    })
}

fn marks_layer(rule: &Rule, base: &[Value]) -> Option<Value> {
    let dashes = match rule.marks? {
        Marks::Dots => json!([0.5, 2.5]),
        Marks::Lines => json!([2.0, 1.0, 0.5, 1.0]),
        Marks::Crosses => json!([3.0, 2.0]),
    };
    Some(json!({
        "id": format!("{}-dashes", layer_id(rule)),
        "type": "line",
        "source": SOURCE,
        "filter": filter(rule, base),
        // Drawn inside the border and inside a thick outline, so that two neighbors do not share their dashes.
        "paint": { "line-color": INK, "line-width": 2.0, "line-offset": 5.0, "line-dasharray": dashes },
    }))
}

/// At least one field at threshold: a dark outline in a light casing, as on the page.
fn outline_layers(base: &[Value], words: CountWords) -> Vec<Value> {
    let mut all = base.to_vec();
    all.push(json!(["==", ["typeof", ["get", AT_THRESHOLD]], "number"]));
    all.push(json!([">", ["get", AT_THRESHOLD], 0]));
    let outline = |id: &str, color: &str, width: f64| {
        json!({
            "id": id,
            "type": "line",
            "source": SOURCE,
            "metadata": { "words": outlined(words) },
            "filter": all,
            "layout": { "line-join": "round" },
            "paint": { "line-color": color, "line-width": width },
        })
    };
    vec![
        outline("at-threshold-casing", "#ffffff", 6.0),
        outline("at-threshold", INK, 2.5),
    ]
}
