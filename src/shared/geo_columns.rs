//! Geometries as columns of a Parquet file, as GeoParquet 1.1 requires them: well-known binary, and a box a row.
//!
//! What the geometries are of is not known here.

use std::collections::BTreeSet;
use std::sync::Arc;

use arrow::array::{ArrayRef, BinaryArray, Float64Array, RecordBatch, StructArray};
use arrow::buffer::NullBuffer;
use arrow::datatypes::{DataType, Field, Fields, Schema};
use geo::Geometry;
use serde_json::{Value, json};
use wkb::writer::{WriteOptions, write_geometry};

use scouting::failure::{Cause, Failure, Kind};

/// The column of the geometries, and the standard's name for it in its own examples.
pub(crate) const GEOMETRY: &str = "geometry";
/// The column of the boxes.
pub(crate) const BBOX: &str = "bbox";
const SIDES: [&str; 4] = ["xmin", "ymin", "xmax", "ymax"];

/// The geometries of the rows of a table, in degrees of longitude and latitude.
pub(crate) struct Geometries {
    /// One a row; `None` for a row without a place.
    pub(crate) shapes: Vec<Option<Geometry<f64>>>,
    /// West, south, east and north of each.
    pub(crate) boxes: Vec<Option<[f64; 4]>>,
    /// The box around all.
    pub(crate) extent: Option<[f64; 4]>,
    /// Whether they are areas, wound counter-clockwise.
    pub(crate) are_areas: bool,
}

impl Geometries {
    /// Points: longitude and latitude of each row.
    pub(crate) fn points(places: Vec<Option<(f64, f64)>>) -> Geometries {
        let boxes = places.iter().map(|place| place.map(|(x, y)| [x, y, x, y]));
        let boxes: Vec<Option<[f64; 4]>> = boxes.collect();
        let extent = boxes.iter().flatten().copied().reduce(|all, one| {
            let [west, south, east, north] = all;
            [
                west.min(one[0]),
                south.min(one[1]),
                east.max(one[2]),
                north.max(one[3]),
            ]
        });
        let point = |(x, y): (f64, f64)| Geometry::Point(geo::Point::new(x, y));
        Geometries {
            shapes: places.into_iter().map(|place| place.map(point)).collect(),
            boxes,
            extent,
            are_areas: false,
        }
    }

    /// The table with the two columns after its own.
    ///
    /// # Errors
    /// A [`Failure`] if a geometry cannot be written.
    pub(crate) fn beside(&self, table: &RecordBatch) -> Result<RecordBatch, Failure> {
        let schema = table.schema();
        let mut fields: Vec<_> = schema.fields().iter().cloned().collect();
        fields.push(Arc::new(Field::new(GEOMETRY, DataType::Binary, true)));
        let sides = DataType::Struct(side_fields());
        fields.push(Arc::new(Field::new(BBOX, sides, true)));
        let mut columns = table.columns().to_vec();
        columns.push(self.binary()?);
        columns.push(self.box_column()?);
        RecordBatch::try_new(Arc::new(Schema::new(fields)), columns).map_err(unwritable)
    }

    fn binary(&self) -> Result<ArrayRef, Failure> {
        let binary = self
            .shapes
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

    fn box_column(&self) -> Result<ArrayRef, Failure> {
        let columns = (0..SIDES.len()).map(|side| {
            let values = self
                .boxes
                .iter()
                .map(|sides| sides.map(|sides| sides[side]));
            Arc::new(values.collect::<Float64Array>()) as ArrayRef
        });
        let there = self
            .boxes
            .iter()
            .map(Option::is_some)
            .collect::<Vec<bool>>();
        let nulls = Some(NullBuffer::from(there));
        let boxes =
            StructArray::try_new(side_fields(), columns.collect(), nulls).map_err(unwritable)?;
        Ok(Arc::new(boxes))
    }

    /// The file metadata `geo` of GeoParquet 1.1.0.
    pub(crate) fn metadata(&self) -> String {
        let types: BTreeSet<&str> = self
            .shapes
            .iter()
            .flatten()
            .map(|shape| match shape {
                Geometry::Point(_) => "Point",
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
            "edges": "planar",
            "covering": { "bbox": covering },
        });
        if self.are_areas {
            column["orientation"] = json!("counterclockwise");
        }
        if let Some(extent) = self.extent {
            column["bbox"] = json!(extent);
        }
        json!({ "version": "1.1.0", "primary_column": GEOMETRY, "columns": { GEOMETRY: column } })
            .to_string()
    }
}

fn side_fields() -> Fields {
    let sides = SIDES.map(|side| Field::new(side, DataType::Float64, true));
    Fields::from(sides.to_vec())
}

fn unwritable(error: impl Into<Cause>) -> Failure {
    Failure::because(Kind::Publish, "cannot write the GeoParquet", error)
}
