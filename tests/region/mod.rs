//! The region: what a boundary file may hold, and which county a point is in. The files that must be refused
//! are written out here.

mod built_in;
mod geojson;
mod refused;
mod topology;

use scouting::failure::{Failure, Kind};
use scouting::region::Region;

/// One square of a grid of degrees, counter-clockwise, as GeoJSON coordinates of a ring.
fn square(west: f64, south: f64) -> String {
    let (east, north) = (west + 1.0, south + 1.0);
    format!(
        "[[{west},{south}],[{east},{south}],[{east},{north}],[{west},{north}],[{west},{south}]]"
    )
}

fn feature(properties: &str, geometry: &str) -> String {
    format!(r#"{{"type":"Feature","properties":{properties},"geometry":{geometry}}}"#)
}

fn polygon(ring: &str) -> String {
    format!(r#"{{"type":"Polygon","coordinates":[{ring}]}}"#)
}

fn collection(features: &[String]) -> String {
    format!(
        r#"{{"type":"FeatureCollection","features":[{}]}}"#,
        features.join(",")
    )
}

fn read(text: &str) -> Result<Region, Failure> {
    Region::from_text(text, "test.geojson", "id", "name")
}

/// The failure's three lines; fails the test if the text was accepted.
fn refusal(text: &str) -> String {
    let failure = read(text).expect_err("the boundary file must be refused");
    assert_eq!(failure.kind(), Kind::Boundaries);
    failure.to_string()
}

fn assert_says(message: &str, parts: &[&str]) {
    for part in parts {
        assert!(message.contains(part), "no {part:?} in:\n{message}");
    }
    assert!(message.lines().count() <= 3, "too long:\n{message}");
}
