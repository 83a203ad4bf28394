//! A boundary file → labelled outlines. GeoJSON is read here, TopoJSON in [`super::topology`]; counties are made of the
//! outlines in [`super::draw`].
//!
//! A county that is dropped here would be missing from every map in silence, so whatever cannot be
//! read ends the run and says which feature it was.

use std::path::Path;

use geo::coord;
use geojson::{Feature, GeometryValue};
use serde::Deserialize;
use serde_json::Value;

use super::outline::{Labels, Outline, Ring, no_geometry, not_a_polygon, short_position, unusable};
use super::topology::Topology;
use crate::failure::Failure;

/// The names under which the two accepted reference systems are written, in lower case.
const LONGITUDE_LATITUDE: [&str; 5] = [
    "urn:ogc:def:crs:ogc:1.3:crs84",
    "urn:ogc:def:crs:ogc::crs84",
    "ogc:crs84",
    "urn:ogc:def:crs:epsg::4326",
    "epsg:4326",
];

/// What a boundary file says.
pub(super) struct Boundaries {
    pub(super) outlines: Vec<Outline>,
    pub(super) place: String,
    pub(super) title: String,
    pub(super) vintage: String,
    pub(super) source: String,
    pub(super) invented: Option<String>,
}

/// The members at the top of the file, whatever its format.
#[derive(Deserialize)]
struct Head {
    #[serde(rename = "type")]
    kind: Option<Value>,
    crs: Option<Value>,
    title: Option<Value>,
    name: Option<Value>,
    vintage: Option<Value>,
    source: Option<Value>,
    invented: Option<Value>,
}

/// The features of a GeoJSON file, read one by one so that a bad one can be named.
#[derive(Deserialize)]
struct Collection {
    features: Vec<Value>,
}

/// Reads GeoJSON or TopoJSON, whichever the text is.
pub(super) fn read_text(text: &str, place: &str, labels: &Labels) -> Result<Boundaries, Failure> {
    let text = text.strip_prefix('\u{feff}').unwrap_or(text);
    let head: Head = serde_json::from_str(text)
        .map_err(|error| unusable(place, format!("the boundary file is not JSON: {error}")))?;
    check_reference_system(head.crs.as_ref(), place)?;
    let outlines = match head.kind.as_ref().and_then(Value::as_str) {
        Some("FeatureCollection") => read_features(text, place, labels)?,
        Some("Topology") => {
            let topology = Topology::parse(text, place)?;
            topology.outlines(topology.county_object(place)?, place, labels)?
        }
        other => {
            let found = other.unwrap_or("no type");
            return Err(unusable(
                place,
                format!("the boundary file is neither GeoJSON nor TopoJSON: found {found}"),
            )
            .mend(
                "give a GeoJSON FeatureCollection or a TopoJSON Topology, one feature a county",
            ));
        }
    };
    let text_of =
        |member: Option<Value>| member.and_then(|value| value.as_str().map(str::to_owned));
    Ok(Boundaries {
        outlines,
        title: text_of(head.title)
            .or(text_of(head.name))
            .unwrap_or_default(),
        vintage: text_of(head.vintage).unwrap_or_else(|| "not stated".to_owned()),
        source: text_of(head.source).unwrap_or_else(|| file_stem(place)),
        invented: text_of(head.invented),
        place: place.to_owned(),
    })
}

/// What to call boundaries whose file does not say whence it comes: the file's name without folder and
/// ending, so that no published page shows where the file was.
fn file_stem(place: &str) -> String {
    Path::new(place).file_stem().map_or_else(
        || place.to_owned(),
        |stem| stem.to_string_lossy().into_owned(),
    )
}

/// GeoJSON of before 2016 could name another reference system; RFC 7946 knows only longitude and
/// latitude on WGS 84.
fn check_reference_system(crs: Option<&Value>, place: &str) -> Result<(), Failure> {
    let Some(crs) = crs.filter(|crs| !crs.is_null()) else {
        return Ok(());
    };
    let name = crs.pointer("/properties/name").and_then(Value::as_str);
    if name.is_some_and(|name| LONGITUDE_LATITUDE.contains(&name.to_lowercase().as_str())) {
        return Ok(());
    }
    let found = name.map_or_else(|| crs.to_string(), str::to_owned);
    Err(unusable(
        place,
        format!("the boundary file is in the reference system {found}"),
    )
    .at(format!("{place}, /crs"))
    .mend("convert it to longitude and latitude: ogr2ogr -t_srs OGC:CRS84 -lco RFC7946=YES new.geojson old.geojson"))
}

fn read_features(text: &str, place: &str, labels: &Labels) -> Result<Vec<Outline>, Failure> {
    let collection: Collection = serde_json::from_str(text)
        .map_err(|error| unusable(place, format!("the GeoJSON cannot be read: {error}")))?;
    let read = |(index, feature)| {
        let place = format!("{place}, feature {} (/features/{index})", index + 1);
        read_feature(feature, place, labels)
    };
    collection
        .features
        .into_iter()
        .enumerate()
        .map(read)
        .collect()
}

fn read_feature(written: Value, place: String, labels: &Labels) -> Result<Outline, Failure> {
    let feature: Feature = serde_json::from_value(written)
        .map_err(|error| unusable(&place, format!("the feature cannot be read: {error}")))?;
    let own_id = feature.id.map(|id| match id {
        geojson::feature::Id::String(text) => Value::String(text),
        geojson::feature::Id::Number(number) => Value::Number(number),
    });
    let (id, name) = labels.read(&place, own_id.as_ref(), feature.properties.as_ref())?;
    let polygons = match feature.geometry.map(|geometry| geometry.value) {
        None => return Err(no_geometry(&place)),
        Some(GeometryValue::Polygon { coordinates }) => vec![coordinates],
        Some(GeometryValue::MultiPolygon { coordinates }) => coordinates,
        Some(other) => return Err(not_a_polygon(&place, other.type_name())),
    };
    let polygons = polygons
        .iter()
        .map(|rings| rings.iter().map(|ring| read_ring(ring, &place)).collect())
        .collect::<Result<_, Failure>>()?;
    Ok(Outline {
        place,
        id,
        name,
        polygons,
    })
}

/// A ring's positions; what comes after longitude and latitude (a height) is passed over.
fn read_ring(ring: &[geojson::Position], place: &str) -> Result<Ring, Failure> {
    ring.iter()
        .map(|position| match *position.as_slice() {
            [x, y, ..] => Ok(coord! { x: x, y: y }),
            _ => Err(short_position(place)),
        })
        .collect()
}
