//! County-weeks as GeoParquet 1.1: the values of the GeoJSON, with outlines as well-known binary.
//!
//! Coordinates are longitude and latitude (OGC:CRS84, which the standard takes where no other is named). The box of each
//! row is a column of its own, so that readers skip rows of other places; a reader that knows nothing of geometry still
//! reads every other column.

use geo::{Geometry, MultiPolygon};
use parquet::file::metadata::KeyValue;
use serde_json::json;

use super::rows::{ADDED_COLUMNS, DAYS_OF_TABLE, MapRows};
use crate::shared::cautions;
use crate::shared::geo_columns::Geometries;
use crate::shared::outline::{Extent, Polygon, polygon_of};
use crate::shared::tables::{ColumnDoc, documented, write_documented};
use scouting::failure::Failure;

/// The county-weeks as GeoParquet 1.1 (zstd), columns described as in the plain Parquet file. The file metadata has the
/// GeoJSON's `caution` and `boundaries`, and `invented` where the region is. `docs` describe the columns of the table
/// `county_week`.
///
/// # Errors
/// A [`Failure`] if the docs and the columns do not match.
pub(crate) fn county_week_geo_parquet(
    rows: &MapRows,
    docs: &[ColumnDoc],
) -> Result<Vec<u8>, Failure> {
    let of_map = docs.iter().filter(|doc| !DAYS_OF_TABLE.contains(&doc.name));
    let docs: Vec<ColumnDoc> = of_map.chain(&ADDED_COLUMNS).copied().collect();
    let table = documented(&rows.table, &docs)?;
    let geometries = outlines_of(rows);
    let region = rows.region;
    let boundaries = json!({ "source": region.source(), "vintage": region.vintage() });
    let note = |key: &str, text: String| KeyValue::new(key.to_owned(), text);
    let notes = vec![
        note("geo", geometries.metadata()),
        note("caution", cautions::IN_ONE_SENTENCE.to_owned()),
        note("boundaries", boundaries.to_string()),
    ];
    write_documented(&geometries.beside(&table)?, region.invented(), notes)
}

/// The outlines of the rows' counties, each with its plain box: one that has land on both sides of the
/// 180th meridian spans the world, so that no reader skips it where it is.
pub(crate) fn outlines_of(rows: &MapRows) -> Geometries {
    let places = 0..rows.table.num_rows();
    let boxes = places.clone().map(|row| {
        let positions = rows.outline(row).iter().flatten().flatten();
        positions.fold(None, |sides: Option<[f64; 4]>, &[x, y]| {
            let [west, south, east, north] = sides.unwrap_or([x, y, x, y]);
            Some([west.min(x), south.min(y), east.max(x), north.max(y)])
        })
    });
    Geometries {
        shapes: places.map(|row| geometry(rows.outline(row))).collect(),
        boxes: boxes.collect(),
        extent: Extent::around(rows.outlines.values().flatten()).map(Extent::bbox),
        are_areas: true,
    }
}

fn geometry(polygons: &[Polygon]) -> Option<Geometry<f64>> {
    let mut polygons: Vec<_> = polygons.iter().map(polygon_of).collect();
    match polygons.len() {
        0 => None,
        1 => Some(Geometry::Polygon(polygons.remove(0))),
        _ => Some(Geometry::MultiPolygon(MultiPolygon::new(polygons))),
    }
}
