//! A boundary file → labelled outlines → counties. Reads GeoJSON itself and TopoJSON by its
//! sister file.
//!
//! A county that is dropped here would be missing from every map in silence, so whatever cannot be
//! read ends the run and says which feature it was. Does not simplify, project or repair shapes.

use std::borrow::Cow;
use std::path::Path;

use geo::{Area, Coord, LineString, MultiPolygon, Polygon, coord};
use geojson::{Feature, GeometryValue};
use serde::Deserialize;
use serde_json::{Map, Value};

use super::County;
use super::topology::Topology;
use crate::failure::{Failure, Kind};

/// Vertices in degrees, x the longitude; as the file has them, closed or not.
pub(super) type Ring = Vec<Coord<f64>>;

/// Room for the rounding of a quantised coordinate at the very edge of the world, in degrees.
const ROUNDING_DEGREES: f64 = 1e-9;
/// A closed ring needs a triangle and its first position again (RFC 7946, section 3.1.6).
const POSITIONS_OF_RING_MIN: usize = 4;
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

/// One feature: its labels, and its polygons, each the exterior ring and then the holes.
pub(super) struct Outline {
    pub(super) place: String,
    pub(super) id: String,
    pub(super) name: String,
    pub(super) polygons: Vec<Vec<Ring>>,
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
    let head: Head = serde_json::from_str(text).map_err(|error| {
        unusable(place, format!("the boundary file is not JSON: {error}")).caused_by(error)
    })?;
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
    let collection: Collection = serde_json::from_str(text).map_err(|error| {
        unusable(place, format!("the GeoJSON cannot be read: {error}")).caused_by(error)
    })?;
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
    let feature: Feature = serde_json::from_value(written).map_err(|error| {
        unusable(&place, format!("the feature cannot be read: {error}")).caused_by(error)
    })?;
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

/// Outlines → counties, sorted by id. Refuses an empty region, an id that is there twice, a county
/// without an outline and coordinates that are not degrees.
pub(super) fn gather_counties(
    mut outlines: Vec<Outline>,
    place: &str,
) -> Result<Vec<County>, Failure> {
    if outlines.is_empty() {
        return Err(unusable(place, "the boundaries hold no county")
            .mend("give a file with one polygon feature a county"));
    }
    outlines.sort_by(|one, other| one.id.cmp(&other.id));
    if let Some([one, other]) = outlines
        .array_windows()
        .find(|[one, other]| one.id == other.id)
    {
        return Err(unusable(
            &format!("{}; {}", one.place, other.place),
            format!(
                "two counties have the id {}: {} and {}",
                one.id, one.name, other.name
            ),
        )
        .mend("give each county its own id, and a county of several parts one MultiPolygon"));
    }
    outlines.into_iter().map(draw_county).collect()
}

fn draw_county(outline: Outline) -> Result<County, Failure> {
    let shape = draw_shape(outline.polygons, &outline.place)?;
    // Outlines run against the clock and holes with it: holes as large as their outline leave nothing.
    if shape.signed_area() <= 0.0 {
        return Err(unusable(
            &outline.place,
            format!(
                "the outline of {} ({}) encloses nothing",
                outline.name, outline.id
            ),
        )
        .mend("its rings have fewer than four positions, no area, or holes as large as they are; take a less simplified file"));
    }
    Ok(County {
        id: outline.id,
        name: outline.name,
        shape,
    })
}

/// Polygons that enclose something, wound for RFC 7946. Simplified files hold rings that have
/// collapsed to a point or a line; they hold no point and other programs refuse the file for them.
pub(super) fn draw_shape(
    polygons: Vec<Vec<Ring>>,
    place: &str,
) -> Result<MultiPolygon<f64>, Failure> {
    let mut drawn = Vec::new();
    for rings in polygons {
        for position in rings.iter().flatten() {
            check_degrees(position, place)?;
        }
        let mut rings = rings.into_iter();
        let exterior = rings.next().and_then(|ring| wind(ring, true));
        if let Some(exterior) = exterior {
            let holes = rings.filter_map(|ring| wind(ring, false)).collect();
            drawn.push(Polygon::new(exterior, holes));
        }
    }
    Ok(MultiPolygon(drawn))
}

/// A closed ring in the wanted sense, or nothing if it encloses nothing.
fn wind(ring: Ring, counter_clockwise: bool) -> Option<LineString<f64>> {
    let mut ring = LineString(ring);
    ring.close();
    if ring.0.len() < POSITIONS_OF_RING_MIN {
        return None;
    }
    let polygon = Polygon::new(ring, Vec::new());
    let area = polygon.signed_area();
    let (mut ring, _) = polygon.into_inner();
    if area == 0.0 {
        return None;
    }
    if (area > 0.0) != counter_clockwise {
        ring.0.reverse();
    }
    Some(ring)
}

fn check_degrees(position: &Coord<f64>, place: &str) -> Result<(), Failure> {
    // Written so that a value that is not a number fails too.
    let within =
        position.x.abs() <= 180.0 + ROUNDING_DEGREES && position.y.abs() <= 90.0 + ROUNDING_DEGREES;
    if within {
        return Ok(());
    }
    Err(unusable(
        place,
        format!(
            "{}, {} is not a longitude and a latitude in degrees",
            position.x, position.y
        ),
    )
    .mend("is it projected, or are the two swapped? give longitude and latitude: ogr2ogr -t_srs OGC:CRS84"))
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
