//! County-weeks as GeoParquet 1.1: the values of the GeoJSON, with outlines as well-known binary.
//!
//! Coordinates are longitude and latitude (OGC:CRS84, which the standard takes where no other is
//! named). The box of each row stands in a column of its own, so that readers skip what lies
//! elsewhere; a reader that knows nothing of geometry still reads every other column.

use std::collections::BTreeSet;
use std::sync::Arc;

use arrow::array::{ArrayRef, BinaryArray, Float64Array, RecordBatch, StructArray};
use arrow::buffer::NullBuffer;
use arrow::datatypes::{DataType, Field, Fields, Schema};
use geo::{Geometry, MultiPolygon};
use parquet::file::metadata::KeyValue;
use serde_json::{Value, json};
use wkb::writer::{WriteOptions, write_geometry};

use crate::failure::{Failure, Kind};
use crate::publish::cautions;
use crate::publish::map_rows::{ADDED_COLUMNS, MapRows};
use crate::publish::outline::{Extent, Polygon, polygon_of};
use crate::publish::tables::{ColumnDoc, documented, write_documented};

/// The column of the outlines, and the standard's name for it in its own examples.
const GEOMETRY: &str = "geometry";
/// The column of the boxes.
const BBOX: &str = "bbox";
const SIDES: [&str; 4] = ["xmin", "ymin", "xmax", "ymax"];

/// The county-weeks as GeoParquet 1.1 (zstd), columns described as in the plain Parquet file; under
/// the keys `caution` and `boundaries`, and `invented` where the region is, stands what the GeoJSON
/// has beside its features. `docs` describe the columns of the roll-up's table.
///
/// # Errors
/// A [`Failure`] if the docs and the columns do not match.
pub fn county_week_geo_parquet(rows: &MapRows, docs: &[ColumnDoc]) -> Result<Vec<u8>, Failure> {
    let table = documented(&rows.table, &[docs, &ADDED_COLUMNS].concat())?;
    let shapes: Vec<Option<Geometry<f64>>> = (0..table.num_rows())
        .map(|row| geometry(rows.outline(row)))
        .collect();
    let schema = table.schema();
    let mut fields: Vec<_> = schema.fields().iter().cloned().collect();
    fields.push(Arc::new(Field::new(GEOMETRY, DataType::Binary, true)));
    fields.push(Arc::new(Field::new(
        BBOX,
        DataType::Struct(side_fields()),
        true,
    )));
    let mut columns = table.columns().to_vec();
    columns.push(binary(&shapes)?);
    columns.push(boxes(rows)?);
    let table = RecordBatch::try_new(Arc::new(Schema::new(fields)), columns).map_err(unwritable)?;
    let region = rows.region;
    let boundaries = json!({ "source": region.source(), "vintage": region.vintage() });
    let note = |key: &str, text: String| KeyValue::new(key.to_owned(), text);
    let notes = vec![
        note("geo", geo_metadata(rows, &shapes).to_string()),
        note("caution", cautions::IN_ONE_SENTENCE.to_owned()),
        note("boundaries", boundaries.to_string()),
    ];
    write_documented(&table, region.invented(), notes)
}

fn geometry(polygons: &[Polygon]) -> Option<Geometry<f64>> {
    let mut polygons: Vec<_> = polygons.iter().map(polygon_of).collect();
    match polygons.len() {
        0 => None,
        1 => Some(Geometry::Polygon(polygons.remove(0))),
        _ => Some(Geometry::MultiPolygon(MultiPolygon::new(polygons))),
    }
}

fn binary(shapes: &[Option<Geometry<f64>>]) -> Result<ArrayRef, Failure> {
    let binary = shapes
        .iter()
        .map(|shape| {
            let mut bytes = Vec::new();
            let Some(shape) = shape else { return Ok(None) };
            write_geometry(&mut bytes, shape, &WriteOptions::default()).map_err(unwritable)?;
            Ok(Some(bytes))
        })
        .collect::<Result<BinaryArray, Failure>>()?;
    Ok(Arc::new(binary))
}

fn side_fields() -> Fields {
    let sides = SIDES.map(|side| Field::new(side, DataType::Float64, true));
    Fields::from(sides.to_vec())
}

/// The plain box of each row: one that has land on both sides of the 180th meridian spans the world,
/// so that no reader skips it where it lies.
fn boxes(rows: &MapRows) -> Result<ArrayRef, Failure> {
    let sides: Vec<Option<[f64; 4]>> = (0..rows.table.num_rows())
        .map(|row| {
            let positions = rows.outline(row).iter().flatten().flatten();
            positions.fold(None, |sides: Option<[f64; 4]>, &[x, y]| {
                let [west, south, east, north] = sides.unwrap_or([x, y, x, y]);
                Some([west.min(x), south.min(y), east.max(x), north.max(y)])
            })
        })
        .collect();
    let columns = (0..SIDES.len()).map(|side| {
        let values = sides.iter().map(|sides| sides.map(|sides| sides[side]));
        Arc::new(values.collect::<Float64Array>()) as ArrayRef
    });
    let there = sides.iter().map(Option::is_some).collect::<Vec<bool>>();
    let nulls = Some(NullBuffer::from(there));
    let boxes =
        StructArray::try_new(side_fields(), columns.collect(), nulls).map_err(unwritable)?;
    Ok(Arc::new(boxes))
}

/// The file metadata `geo` of GeoParquet 1.1.0.
fn geo_metadata(rows: &MapRows, shapes: &[Option<Geometry<f64>>]) -> Value {
    let types: BTreeSet<&str> = shapes
        .iter()
        .flatten()
        .map(|shape| match shape {
            Geometry::Polygon(_) => "Polygon",
            _ => "MultiPolygon",
        })
        .collect();
    let covering: serde_json::Map<String, Value> = SIDES
        .iter()
        .map(|side| ((*side).to_owned(), json!([BBOX, side])))
        .collect();
    let mut column = json!({
        "encoding": "WKB",
        "geometry_types": types,
        "orientation": "counterclockwise",
        "edges": "planar",
        "covering": { "bbox": covering },
    });
    if let Some(extent) = Extent::around(rows.outlines.values().flatten()) {
        column["bbox"] = json!(extent.bbox());
    }
    json!({ "version": "1.1.0", "primary_column": GEOMETRY, "columns": { GEOMETRY: column } })
}

fn unwritable(error: impl std::fmt::Display) -> Failure {
    Failure::new(
        Kind::Publish,
        format!("cannot write the GeoParquet: {error}"),
    )
}
