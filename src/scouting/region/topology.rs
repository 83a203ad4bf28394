//! TopoJSON: shared arcs → rings.
//!
//! Follows the TopoJSON format specification (github.com/topojson/topojson-specification), sections
//! 2.1.2 to 2.2.6. Own code, because the published crate repeats the vertex where two arcs join.
//! Reads only what a boundary file needs: polygons.

use std::collections::BTreeMap;

use geo::{Coord, coord};
use serde::Deserialize;
use serde_json::{Map, Value};

use super::outline::{Labels, Outline, Ring, no_geometry, not_a_polygon, short_position, unusable};
use crate::failure::Failure;

/// A topology as it is written.
#[derive(Debug, Deserialize)]
pub(super) struct Topology {
    objects: BTreeMap<String, Object>,
    arcs: Vec<Vec<Vec<f64>>>,
    transform: Option<Transform>,
}

/// How quantised arcs become degrees.
#[derive(Debug, Deserialize)]
struct Transform {
    scale: [f64; 2],
    translate: [f64; 2],
}

/// A geometry, or a collection of them.
#[derive(Debug, Deserialize)]
pub(super) struct Object {
    #[serde(rename = "type")]
    kind: Option<String>,
    geometries: Option<Vec<Object>>,
    arcs: Option<Value>,
    pub(super) id: Option<Value>,
    pub(super) properties: Option<Map<String, Value>>,
}

impl Object {
    fn is_polygonal(&self) -> bool {
        matches!(self.kind.as_deref(), Some("Polygon" | "MultiPolygon"))
    }

    fn holds_polygons(&self) -> bool {
        self.is_polygonal() || self.members().iter().any(Object::is_polygonal)
    }

    fn members(&self) -> &[Object] {
        self.geometries.as_deref().unwrap_or_default()
    }
}

impl Topology {
    /// Reads a topology's text.
    pub(super) fn parse(text: &str, place: &str) -> Result<Topology, Failure> {
        serde_json::from_str(text)
            .map_err(|error| unusable(place, format!("the TopoJSON cannot be read: {error}")))
    }

    /// The features of one object: its members, or itself if it is a single shape.
    pub(super) fn features(&self, object: &str) -> &[Object] {
        match self.objects.get(object) {
            Some(collection) if collection.geometries.is_some() => collection.members(),
            Some(single) => std::slice::from_ref(single),
            None => &[],
        }
    }

    /// The object that holds the counties: `counties`, or else the only one with polygons.
    pub(super) fn county_object(&self, place: &str) -> Result<&str, Failure> {
        if let Some((name, _)) = self.objects.get_key_value("counties") {
            return Ok(name);
        }
        let all: Vec<&str> = self.objects.keys().map(String::as_str).collect();
        let mut polygonal = all.clone();
        polygonal.retain(|name| self.objects[*name].holds_polygons());
        match (polygonal.as_slice(), all.as_slice()) {
            ([only], _) | ([], [only]) => Ok(only),
            ([], []) => Err(unusable(place, "the topology has no objects")),
            _ => Err(unusable(
                place,
                format!(
                    "no single object of the topology holds the counties; its objects are: {}",
                    all.join(", ")
                ),
            )
            .mend("name the right one \"counties\", or keep only that one")),
        }
    }

    /// Every feature of an object, as labelled rings in degrees, in the file's own winding.
    pub(super) fn outlines(
        &self,
        object: &str,
        place: &str,
        labels: &Labels,
    ) -> Result<Vec<Outline>, Failure> {
        let arcs = self.decode_arcs(place)?;
        let single = self.objects.get(object).is_some_and(Object::is_polygonal);
        let mut outlines = Vec::new();
        for (index, feature) in self.features(object).iter().enumerate() {
            let pointer = match single {
                true => format!("/objects/{object}"),
                false => format!("/objects/{object}/geometries/{index}"),
            };
            let place = format!("{place}, feature {} ({pointer})", index + 1);
            let (id, name) =
                labels.read(&place, feature.id.as_ref(), feature.properties.as_ref())?;
            let polygons = polygons_of(feature, &arcs, &place)?;
            outlines.push(Outline {
                place,
                id,
                name,
                polygons,
            });
        }
        Ok(outlines)
    }

    /// Arcs in degrees. Quantised arcs are sums of whole steps, which doubles hold exactly.
    fn decode_arcs(&self, place: &str) -> Result<Vec<Ring>, Failure> {
        let decode = |(index, arc): (usize, &Vec<Vec<f64>>)| {
            let mut sum = [0.0, 0.0];
            arc.iter()
                .map(|position| {
                    let [x, y, ..] = position[..] else {
                        let place = format!("{place}, arc {index} (/arcs/{index})");
                        return Err(short_position(&place));
                    };
                    let Some(transform) = &self.transform else {
                        return Ok(coord! { x: x, y: y });
                    };
                    sum = [sum[0] + x, sum[1] + y];
                    Ok(coord! {
                        x: sum[0] * transform.scale[0] + transform.translate[0],
                        y: sum[1] * transform.scale[1] + transform.translate[1],
                    })
                })
                .collect()
        };
        self.arcs.iter().enumerate().map(decode).collect()
    }
}

/// The polygons of one feature, each its exterior ring and then its holes.
fn polygons_of(feature: &Object, arcs: &[Ring], place: &str) -> Result<Vec<Vec<Ring>>, Failure> {
    let indexes = feature.arcs.clone().unwrap_or(Value::Null);
    let written: Result<Vec<Vec<Vec<i64>>>, _> = match feature.kind.as_deref() {
        Some("Polygon") => serde_json::from_value(indexes).map(|polygon| vec![polygon]),
        Some("MultiPolygon") => serde_json::from_value(indexes),
        Some(other) => return Err(not_a_polygon(place, other)),
        None => return Err(no_geometry(place)),
    };
    written
        .map_err(|error| unusable(place, format!("the arcs of the shape are wrong: {error}")))?
        .iter()
        .map(|polygon| polygon.iter().map(|ring| stitch(ring, arcs, place)))
        .map(Iterator::collect)
        .collect()
}

/// Joins arcs to a ring; where two arcs meet, their common vertex is written once.
fn stitch(indexes: &[i64], arcs: &[Ring], place: &str) -> Result<Ring, Failure> {
    let mut ring: Ring = Vec::new();
    for &index in indexes {
        let backwards = index < 0;
        // A negative index is the one's complement of the arc that is walked backwards.
        let position = if backwards { !index } else { index };
        let arc = usize::try_from(position)
            .ok()
            .and_then(|position| arcs.get(position))
            .ok_or_else(|| {
                let count = arcs.len();
                unusable(
                    place,
                    format!("arc {index} is named, but there are {count} arcs"),
                )
            })?;
        let mut walk: Box<dyn Iterator<Item = &Coord<f64>>> = match backwards {
            true => Box::new(arc.iter().rev()),
            false => Box::new(arc.iter()),
        };
        if let Some(end) = ring.last()
            && walk.next() != Some(end)
        {
            return Err(unusable(
                place,
                format!("arc {index} does not start where the arc before it ends"),
            )
            .mend("the topology is damaged; make the file anew from its source"));
        }
        ring.extend(walk);
    }
    Ok(ring)
}
