//! How far apart two points are, and which points can be close to each other. It knows no county.

use geo::{Distance, Haversine, Point};

/// Width of a cell from south to north, degrees: about 111 m, wider than any nearness that is asked for.
const CELL_DEGREES: f64 = 0.001;
/// Meters of one degree of latitude, rounded down, so that no neighbor is missed.
const METERS_PER_DEGREE: f64 = 111_000.0;

/// A cell of the grid by which close points are found: row from the equator, column within the row.
pub type GridCell = (i32, i32);

/// Meters between two points (longitude, latitude, degrees), on a sphere of the earth's mean radius
/// (the `geo` crate's `Haversine`; within 0.6% of the ellipsoid, from memory).
pub fn meters_between(one: (f64, f64), other: (f64, f64)) -> f64 {
    Haversine.distance(Point::from(one), Point::from(other))
}

/// The cell of a point.
pub fn cell_of((lon, lat): (f64, f64)) -> GridCell {
    let row = row_of(lat);
    (row, column_of(row, lon))
}

/// The cells, at most four, that hold every point within `meters` of a point; `meters` is at most 100.
/// Points on both sides of the 180th meridian are not seen as close.
pub fn cells_near((lon, lat): (f64, f64), meters: f64) -> impl Iterator<Item = GridCell> {
    let reach = meters / METERS_PER_DEGREE;
    (row_of(lat - reach)..=row_of(lat + reach)).flat_map(move |row| {
        let reach = reach / narrowing(row);
        (column_of(row, lon - reach)..=column_of(row, lon + reach)).map(move |column| (row, column))
    })
}

fn row_of(lat: f64) -> i32 {
    (lat / CELL_DEGREES).floor() as i32
}

/// Columns of a row are about as wide as rows are high, whatever the latitude.
fn column_of(row: i32, lon: f64) -> i32 {
    (lon / CELL_DEGREES * narrowing(row)).floor() as i32
}

/// How much a degree of longitude is shorter than one of latitude, at the end of the row that is nearer
/// to the pole.
fn narrowing(row: i32) -> f64 {
    let lat = f64::from(row.max(-row - 1) + 1) * CELL_DEGREES;
    lat.to_radians().cos().max(1e-6)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_degree_of_latitude_is_about_111_km() {
        let meters = meters_between((-100.0, 44.0), (-100.0, 45.0));
        assert!((meters - 111_195.0).abs() < 1.0, "{meters}");
    }

    /// Every point within reach is in a near cell, at any latitude and on any side of a cell.
    #[test]
    fn no_close_point_is_missed() {
        let meters = 50.0;
        for lat in [
            -70.2, -44.0, -0.000_1, 0.0, 0.000_3, 44.123_45, 44.999_9, 78.0,
        ] {
            for lon in [-179.0, -100.123_45, -0.000_1, 0.0, 5.5] {
                let near: Vec<GridCell> = cells_near((lon, lat), meters).collect();
                assert!((1..=4).contains(&near.len()), "{near:?}");
                for step in 0..360 {
                    let angle = f64::from(step).to_radians();
                    let point = (
                        lon + meters / 111_196.0 * angle.cos() / lat.to_radians().cos(),
                        lat + meters / 111_196.0 * angle.sin(),
                    );
                    assert!(near.contains(&cell_of(point)), "{lon} {lat} {point:?}");
                }
            }
        }
    }
}
