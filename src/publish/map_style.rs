//! A MapLibre style (version 8) for the county-week GeoJSON that lies beside it.
//!
//! Names no tile, font or sprite, so that a viewer needs no network. Without a sprite there are no
//! patterns: the classes that say nothing of pressure are told apart by the dashes of their borders.

use serde_json::{Value, json};

use crate::failure::{Failure, Kind};
use crate::publish::cautions;
use crate::publish::classes::{BORDER, INK};
use crate::publish::map_rules::{Marks, Rule, rules};
use crate::publish::unseen::plain_text;
use crate::region::Region;

/// Name of the source in the style.
const SOURCE: &str = "county_week";

/// The style of a file, as JSON. Of a file with several weeks or protocols it draws one of each.
///
/// # Errors
/// A [`Failure`] if it cannot be written.
pub fn maplibre_style(
    region: &Region,
    geojson_name: &str,
    iso_week: Option<&str>,
    protocol: Option<&str>,
) -> Result<Vec<u8>, Failure> {
    let mut base = vec![json!("all")];
    for (member, value) in [("iso_week", iso_week), ("protocol", protocol)] {
        base.extend(value.map(|value| json!(["==", ["get", member], value])));
    }
    let mut layers = vec![json!({
        "id": "background",
        "type": "background",
        "paint": { "background-color": "#ffffff" },
    })];
    layers.extend(rules().iter().map(|rule| fill_layer(rule, &base)));
    layers.push(border_layer(&base));
    layers.extend(rules().iter().filter_map(|rule| marks_layer(rule, &base)));
    layers.extend(outline_layers(&base));
    let bounds = region.bounds();
    let wide = (bounds.max().x - bounds.min().x).max(0.01);
    let legend: Vec<Value> = rules()
        .iter()
        .map(|rule| json!({ "words": rule.class.words(), "fill": rule.fill }))
        .collect();
    let attribution = match region.invented() {
        Some(notice) => format!("{} {notice}", region.source()),
        None => region.source().to_owned(),
    };
    let style = json!({
        "version": 8,
        "name": format!("Median pressure by county, {}", plain_text(region.title())),
        "metadata": {
            "caution": cautions::IN_ONE_SENTENCE,
            "iso_week": iso_week,
            "protocol": protocol,
            "legend": legend,
        },
        "center": [middle(bounds.min().x, bounds.max().x), middle(bounds.min().y, bounds.max().y)],
        // The whole world is 512 pixels wide at zoom 0; the region gets about that.
        "zoom": round((360.0 / wide).log2()),
        "sources": {
            SOURCE: { "type": "geojson", "data": geojson_name, "attribution": escaped(&plain_text(&attribution)) },
        },
        "layers": layers,
    });
    let failed = |error| Failure::new(Kind::Publish, format!("cannot write the style: {error}"));
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
    if let Some((from, below)) = rule.median {
        all.push(json!([">=", ["get", "median_pressure"], from]));
        all.extend(below.map(|below| json!(["<", ["get", "median_pressure"], below])));
    }
    Value::Array(all)
}

fn layer_id(rule: &Rule) -> String {
    match rule.median {
        Some((from, _)) => format!("{}-from-{from}", rule.status),
        None => rule.status.to_owned(),
    }
}

fn fill_layer(rule: &Rule, base: &[Value]) -> Value {
    json!({
        "id": layer_id(rule),
        "type": "fill",
        "source": SOURCE,
        "metadata": { "words": rule.class.words() },
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
        Marks::Dots => json!([0.5, 2.0]),
        Marks::Crosses => json!([3.0, 2.0]),
        Marks::Lines => json!([2.0, 1.0, 0.5, 1.0]),
    };
    Some(json!({
        "id": format!("{}-dashes", layer_id(rule)),
        "type": "line",
        "source": SOURCE,
        "filter": filter(rule, base),
        // Drawn inside the border, so that two neighbours do not share their dashes.
        "paint": { "line-color": INK, "line-width": 2.0, "line-offset": 3.0, "line-dasharray": dashes },
    }))
}

/// At threshold: a dark outline in a light casing, as on the page.
fn outline_layers(base: &[Value]) -> Vec<Value> {
    let at_threshold = rules()
        .into_iter()
        .filter(|rule| rule.class.at_threshold())
        .filter_map(|rule| rule.median)
        .map(|(from, _)| from)
        .reduce(f64::min);
    let Some(from) = at_threshold else {
        return Vec::new();
    };
    let mut all = base.to_vec();
    all.push(json!([
        "==",
        ["typeof", ["get", "median_pressure"]],
        "number"
    ]));
    all.push(json!([">=", ["get", "median_pressure"], from]));
    let outline = |id: &str, colour: &str, width: f64| {
        json!({
            "id": id,
            "type": "line",
            "source": SOURCE,
            "metadata": { "words": "at or above threshold" },
            "filter": all,
            "layout": { "line-join": "round" },
            "paint": { "line-color": colour, "line-width": width },
        })
    };
    vec![
        outline("at-threshold-casing", "#ffffff", 6.0),
        outline("at-threshold", INK, 2.5),
    ]
}
