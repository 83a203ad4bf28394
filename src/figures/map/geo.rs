//! County-weeks and sample points as GeoJSON (RFC 7946) that any map viewer opens.
//!
//! Copies figures and rounds coordinates; does not project, simplify, or decide what may be seen.

use std::collections::BTreeMap;

use arrow::array::{Array, ArrayRef, AsArray, RecordBatch};
use arrow::datatypes::{Date32Type, Float64Type, Int32Type, Int64Type};
use arrow::util::display::array_value_to_string;
use geojson::{GeometryValue, Position};
use serde::ser::{Error, SerializeMap};
use serde::{Serialize, Serializer};
use serde_json::value::RawValue;

use super::rows::{MapRows, with_days};
use super::rules::Named;
use crate::shared::cautions;
use crate::shared::outline::{Extent, Polygon};
use scouting::failure::{Failure, Kind};
use scouting::region::Region;

/// The county-weeks as a GeoJSON `FeatureCollection`, in the order of week, protocol and county, UTF-8. Each feature has
/// the id `county.week.protocol` and every column as a property, null where there is no value, and after them what viewers
/// without a style read (`viewer_style.rs`). `name_of` gives the title and the words of a protocol by its id. Besides the standard
/// members the file has `generator`, `caution`, `boundaries`, where boundaries lack an outline
/// `counties_without_outline`, and, where the region is invented, `invented` with the notice.
///
/// # Errors
/// A [`Failure`] if a value has no form in JSON.
pub fn county_week_geojson(
    rows: &MapRows,
    name_of: &dyn Fn(&str) -> Named,
) -> Result<Vec<u8>, Failure> {
    // A county's shape is written once and used by each of its features.
    let shapes = rows
        .outlines
        .iter()
        .map(|(id, polygons)| Ok((*id, raw(&geometry(polygons))?)))
        .collect::<Result<BTreeMap<_, _>, Failure>>()?;
    let features = (0..rows.table.num_rows()).map(|row| {
        let text = |column| rows.text(column, row);
        Feature {
            kind: "Feature",
            id: format!(
                "{}.{}.{}",
                text("county_id"),
                text("iso_week"),
                text("protocol")
            ),
            properties: Properties {
                table: &rows.table,
                row,
                more: rows.shown[row]
                    .members(
                        &name_of(text("protocol")),
                        (text("county_name"), text("iso_week")),
                    )
                    .to_vec(),
            },
            geometry: &shapes[text("county_id")],
        }
    });
    let features = features.collect();
    let extent = Extent::around(rows.outlines.values().flatten());
    let without = rows.region.without_shape().iter();
    write(&Collection {
        boundaries: Some(Boundaries {
            source: rows.region.source(),
            vintage: rows.region.vintage(),
        }),
        counties_without_outline: without.map(|county| &*county.id).collect(),
        bbox: extent.map(Extent::bbox),
        ..Collection::of(rows.region, features)
    })
}

/// The grid cells in which enough fields were visited, from the table `sample_point`, as points: one
/// a cell, week and protocol, without any figure. Each has the id `cell.week.protocol`.
///
/// # Errors
/// A [`Failure`] if the table is not that one.
pub(crate) fn sample_points_geojson(
    region: &Region,
    sample_point: &RecordBatch,
) -> Result<Vec<u8>, Failure> {
    let table = with_days(sample_point)?;
    let column = |name: &str| {
        let missing = || Failure::new(Kind::Publish, format!("sample points have no {name}"));
        table.column_by_name(name).ok_or_else(missing)
    };
    let points = (0..table.num_rows())
        .map(|row| {
            let degrees = |name: &str| -> Result<f64, Failure> {
                Ok(column(name)?.as_primitive::<Float64Type>().value(row))
            };
            let position = [degrees("cell_lon")?, degrees("cell_lat")?];
            raw(&geojson::Geometry::new(GeometryValue::new_point(position)))
        })
        .collect::<Result<Vec<_>, Failure>>()?;
    let features = points
        .iter()
        .enumerate()
        .map(|(row, geometry)| {
            let text = |name: &str| Ok(column(name)?.as_string::<i32>().value(row));
            Ok(Feature {
                kind: "Feature",
                id: format!(
                    "{}.{}.{}",
                    text("cell")?,
                    text("iso_week")?,
                    text("protocol")?
                ),
                properties: Properties {
                    table: &table,
                    row,
                    more: Vec::new(),
                },
                geometry,
            })
        })
        .collect::<Result<Vec<_>, Failure>>()?;
    write(&Collection::of(region, features))
}

/// `None`, in the file `null`, if no polygon is left: RFC 7946 has that for the unlocated, and
/// many readers refuse an empty geometry.
fn geometry(polygons: &[Polygon]) -> Option<geojson::Geometry> {
    let mut polygons: Vec<Vec<Vec<Position>>> = polygons
        .iter()
        .map(|rings| {
            rings
                .iter()
                .map(|ring| ring.iter().map(|&p| p.into()).collect())
                .collect()
        })
        .collect();
    let value = match polygons.len() {
        0 => return None,
        1 => GeometryValue::new_polygon(polygons.remove(0)),
        _ => GeometryValue::new_multi_polygon(polygons),
    };
    Some(geojson::Geometry::new(value))
}

fn raw(value: &impl Serialize) -> Result<Box<RawValue>, Failure> {
    serde_json::value::to_raw_value(value).map_err(unwritable)
}

fn write(collection: &Collection) -> Result<Vec<u8>, Failure> {
    serde_json::to_vec(collection).map_err(unwritable)
}

fn unwritable(error: serde_json::Error) -> Failure {
    Failure::because(Kind::Publish, "cannot write the GeoJSON", error)
}

/// What the `geojson` crate's own collection writes, but with the short members first, so that
/// a reader who opens the file in an editor meets the caution before a megabyte of coordinates.
#[derive(Serialize)]
struct Collection<'a> {
    #[serde(rename = "type")]
    kind: &'static str,
    generator: &'static str,
    caution: &'static str,
    #[serde(skip_serializing_if = "Option::is_none")]
    invented: Option<&'a str>,
    #[serde(skip_serializing_if = "Option::is_none")]
    boundaries: Option<Boundaries<'a>>,
    #[serde(skip_serializing_if = "Vec::is_empty")]
    counties_without_outline: Vec<&'a str>,
    #[serde(skip_serializing_if = "Option::is_none")]
    bbox: Option<[f64; 4]>,
    features: Vec<Feature<'a>>,
}

impl<'a> Collection<'a> {
    fn of(region: &'a Region, features: Vec<Feature<'a>>) -> Collection<'a> {
        Collection {
            kind: "FeatureCollection",
            generator: "bractline",
            caution: cautions::IN_ONE_SENTENCE,
            invented: region.invented(),
            boundaries: None,
            counties_without_outline: Vec::new(),
            bbox: None,
            features,
        }
    }
}

#[derive(Serialize)]
struct Boundaries<'a> {
    source: &'a str,
    vintage: &'a str,
}

#[derive(Serialize)]
struct Feature<'a> {
    #[serde(rename = "type")]
    kind: &'static str,
    id: String,
    properties: Properties<'a>,
    geometry: &'a RawValue,
}

/// A row of a table, each column a member, and further members after them.
struct Properties<'a> {
    table: &'a RecordBatch,
    row: usize,
    more: Vec<(&'static str, serde_json::Value)>,
}

impl Serialize for Properties<'_> {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        let mut members =
            serializer.serialize_map(Some(self.table.num_columns() + self.more.len()))?;
        let schema = self.table.schema();
        for (field, column) in schema.fields().iter().zip(self.table.columns()) {
            let value = Value {
                column,
                row: self.row,
            };
            members.serialize_entry(field.name(), &value)?;
        }
        for (name, value) in &self.more {
            members.serialize_entry(name, value)?;
        }
        members.end()
    }
}

struct Value<'a> {
    column: &'a ArrayRef,
    row: usize,
}

impl Serialize for Value<'_> {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        let Value { column, row } = *self;
        if column.is_null(row) || column.data_type().is_null() {
            serializer.serialize_none()
        } else if let Some(values) = column.as_primitive_opt::<Float64Type>() {
            serializer.serialize_f64(values.value(row))
        } else if let Some(values) = column.as_primitive_opt::<Int64Type>() {
            serializer.serialize_i64(values.value(row))
        } else if let Some(values) = column.as_primitive_opt::<Int32Type>() {
            serializer.serialize_i32(values.value(row))
        } else if let Some(values) = column.as_boolean_opt() {
            serializer.serialize_bool(values.value(row))
        } else if column.data_type().is_string()
            || column.as_primitive_opt::<Date32Type>().is_some()
        {
            // Days come out as 2026-07-20.
            let text = array_value_to_string(column, row).map_err(S::Error::custom)?;
            serializer.serialize_str(&text)
        } else {
            let kind = column.data_type();
            Err(S::Error::custom(format!("a value of {kind} has no form")))
        }
    }
}
