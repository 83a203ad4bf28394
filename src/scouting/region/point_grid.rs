//! The grid of published points: the cell that a point is in, for each of four widths that nest.
//!
//! A cell of one width is wholly within one cell of every wider width. So points that are published in two
//! widths, or in one width today and another later, say together no more than the narrower of them does:
//! cells whose edges cross would cut out a place smaller than either.
//!
//! The grid: rows of 5 km from the equator, on a sphere of the mean radius 6371.0088 km (IUGG; Moritz 2000,
//! J. Geod. 74:128-133). Eight of them are a row of 40 km. It is cut into the whole number of columns that makes
//! them about 40 km wide in its middle, and each of these into 2, 4 and 8. Cells of the narrower widths are
//! counted in fives of kilometers and put together by whole numbers, so they nest whatever the rounding.

/// Mean radius of the earth, kilometers (IUGG; Moritz 2000, J. Geod. 74:128-133).
const EARTH_KM: f64 = 6371.0088;
/// Width of the narrowest cells, kilometers.
const NARROWEST_KM: f64 = 5.0;
/// How often the narrowest width is doubled to get the widest.
const WIDEST_DOUBLINGS: u32 = 3;

/// Height, and about the width, of a cell.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum GridWidth {
    /// 5 km.
    Km5,
    /// 10 km.
    Km10,
    /// 20 km.
    Km20,
    /// 40 km.
    Km40,
}

impl GridWidth {
    /// Every width, the narrowest first.
    pub const ALL: [GridWidth; 4] = [
        GridWidth::Km5,
        GridWidth::Km10,
        GridWidth::Km20,
        GridWidth::Km40,
    ];

    /// The width of so many kilometers; `None` if the grid does not have it.
    pub fn of_km(km: f64) -> Option<GridWidth> {
        GridWidth::ALL.into_iter().find(|width| width.km() == km)
    }

    /// The width in kilometers.
    pub fn km(self) -> f64 {
        NARROWEST_KM * f64::from(1_u32 << self.doublings())
    }

    /// This width and every wider one, the narrowest first.
    pub fn and_wider(self) -> impl Iterator<Item = GridWidth> {
        GridWidth::ALL
            .into_iter()
            .filter(move |width| *width >= self)
    }

    fn doublings(self) -> u32 {
        match self {
            GridWidth::Km5 => 0,
            GridWidth::Km10 => 1,
            GridWidth::Km20 => 2,
            GridWidth::Km40 => WIDEST_DOUBLINGS,
        }
    }
}

/// A cell of the grid.
#[derive(Debug, Clone, PartialEq)]
pub struct GridCell {
    /// Row from the equator (negative in the south) and column from the 180th meridian, as `r482c1093`: no
    /// program takes it for a number. No other cell of the same width has this id; a cell of another width may have it.
    pub id: String,
    /// Longitude of the middle, degrees, WGS 84, five decimals.
    pub lon: f64,
    /// Latitude of the middle, degrees, WGS 84, five decimals; in the row that a pole cuts off, at most 90.
    pub lat: f64,
}

/// The cell that a point is in. `lon` and `lat` are degrees, WGS 84; longitudes that differ by whole turns are
/// one place, latitudes beyond a pole are taken for the pole.
pub fn cell_of(lon: f64, lat: f64, width: GridWidth) -> GridCell {
    let doublings = width.doublings();
    let row_height = (NARROWEST_KM / EARTH_KM).to_degrees();
    let narrow_row = (lat.clamp(-90.0, 90.0) / row_height).floor() as i64;
    let narrow_columns = widest_columns(narrow_row >> WIDEST_DOUBLINGS) << WIDEST_DOUBLINGS;
    let turn = (lon + 180.0).rem_euclid(360.0) / 360.0;
    // A longitude a hair below -180 comes out as a whole turn.
    let narrow_column = (turn * narrow_columns as f64).floor() as i64 % narrow_columns;
    // A shift to the right divides and rounds down, in the south too.
    let (row, column) = (narrow_row >> doublings, narrow_column >> doublings);
    let columns = narrow_columns >> doublings;
    GridCell {
        id: format!("r{row}c{column}"),
        lon: five_decimals(-180.0 + (column as f64 + 0.5) * 360.0 / columns as f64),
        lat: five_decimals(middle_of_row(row, width)),
    }
}

/// Columns of a row of the widest cells.
fn widest_columns(row: i64) -> i64 {
    let middle = middle_of_row(row, GridWidth::Km40);
    let row_height = (GridWidth::Km40.km() / EARTH_KM).to_degrees();
    let columns = 360.0 * middle.to_radians().cos() / row_height;
    (columns.round() as i64).max(1)
}

/// Latitude of the middle of a row, degrees.
fn middle_of_row(row: i64, width: GridWidth) -> f64 {
    let row_height = (width.km() / EARTH_KM).to_degrees();
    ((row as f64 + 0.5) * row_height).clamp(-90.0, 90.0)
}

/// About a meter.
fn five_decimals(degrees: f64) -> f64 {
    (degrees * 1e5).round() / 1e5
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;
    use crate::region::distance::meters_between;

    #[test]
    fn a_cell_is_the_one_computed_by_hand() {
        // Rows of 40 km are 0.3597281 degrees high (40 / 6371.0088 radians): 44.06 degrees is in row 122, whose
        // middle is 122.5 * 0.3597281 = 44.06670. It has round(360 * cos(44.06670 degrees) / 0.3597281) = 719 columns
        // of 0.5006954 degrees; 79.98 degrees from the meridian is column 159, whose middle is -180 + 159.5 *
        // 0.5006954 = -100.13908. Of 10 km: row floor(44.06 / 0.0899320) = 489, column floor(79.98 / 0.1251739) = 638.
        let wide = cell_of(-100.02, 44.06, GridWidth::Km40);
        assert_eq!(
            (wide.id.as_str(), wide.lon, wide.lat),
            ("r122c159", -100.13908, 44.0667)
        );
        let cell = cell_of(-100.02, 44.06, GridWidth::Km10);
        assert_eq!(
            (cell.id.as_str(), cell.lon, cell.lat),
            ("r489c638", -100.0765, 44.02173)
        );
    }

    #[test]
    fn only_the_four_widths_are_there() {
        for (km, width) in [5.0, 10.0, 20.0, 40.0].into_iter().zip(GridWidth::ALL) {
            assert_eq!((GridWidth::of_km(km), width.km()), (Some(width), km));
        }
        for km in [0.0, -5.0, 4.999, 15.0, 80.0, f64::NAN, f64::INFINITY] {
            assert_eq!(GridWidth::of_km(km), None, "{km}");
        }
        let wider: Vec<f64> = GridWidth::Km10.and_wider().map(GridWidth::km).collect();
        assert_eq!(wider, [10.0, 20.0, 40.0]);
    }

    #[test]
    fn the_meridian_and_the_poles_are_in_a_cell_like_any_other_place() {
        for width in GridWidth::ALL {
            assert_eq!(cell_of(180.0, 44.0, width), cell_of(-180.0, 44.0, width));
            assert_eq!(cell_of(260.0, 44.0, width), cell_of(-100.0, 44.0, width));
            for lat in [-90.0, 90.0] {
                let cell = cell_of(-100.0, lat, width);
                assert!((lat - cell.lat).abs() < 0.4, "{cell:?}");
                assert_eq!(cell_of(-100.0, lat * 1.1, width), cell, "beyond a pole");
            }
        }
        // The same degrees north and south of the equator are two places.
        let (north, south) = [0.01, -0.01]
            .map(|lat| cell_of(0.0, lat, GridWidth::Km40))
            .into();
        assert_ne!(north.id, south.id);
        assert_eq!(north.lat, -south.lat);
    }

    /// Points of the whole globe, the poles and the edges of cells among them.
    fn anywhere() -> impl Strategy<Value = (f64, f64)> {
        let edge = (NARROWEST_KM / EARTH_KM).to_degrees();
        let lat = prop_oneof![
            4 => -90.0..=90.0,
            1 => 89.0..=90.0,
            1 => -90.0..=-89.0,
            2 => (-2001..=2001).prop_map(move |row| f64::from(row) * edge),
        ];
        let lon = prop_oneof![4 => -180.0..=180.0, 1 => Just(-180.0), 1 => Just(180.0)];
        (lon, lat)
    }

    proptest! {
        #![proptest_config(ProptestConfig::with_cases(20_000))]

        /// Two points that share a cell share every wider one: the other point is a random one of the same cell.
        #[test]
        fn every_cell_is_wholly_within_one_of_every_wider_width(
            (lon, lat) in anywhere(),
            (east, north) in (-0.5..0.5, -0.5..0.5),
            narrow in 0..4_usize,
        ) {
            let narrow = GridWidth::ALL[narrow];
            let cell = cell_of(lon, lat, narrow);
            let height = (narrow.km() / EARTH_KM).to_degrees();
            let columns = (360.0 * cell.lat.to_radians().cos() / height).max(1.0);
            let other = (cell.lon + east * 360.0 / columns, cell.lat + north * height);
            let others = [(cell.lon, cell.lat), other];
            for point in others.into_iter().filter(|(_, lat)| lat.abs() <= 90.0) {
                if cell_of(point.0, point.1, narrow) == cell {
                    for wide in narrow.and_wider() {
                        prop_assert_eq!(cell_of(point.0, point.1, wide), cell_of(lon, lat, wide));
                    }
                }
            }
        }

        /// A cell has its middle in itself, and is about as large as it says.
        #[test]
        fn a_point_is_near_the_middle_of_its_cell((lon, lat) in anywhere(), width in 0..4_usize) {
            let width = GridWidth::ALL[width];
            let cell = cell_of(lon, lat, width);
            if lat.abs() < 85.0 {
                prop_assert_eq!(&cell_of(cell.lon, cell.lat, width), &cell);
                let away = meters_between((lon, lat), (cell.lon, cell.lat)) / 1000.0;
                // Half of the diagonal is 0.71 of the width.
                prop_assert!(away < 0.75 * width.km(), "{} km", away);
            }
        }
    }
}
