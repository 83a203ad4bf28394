//! Points given as easting and northing of a UTM zone, WGS 84 → longitude and latitude in degrees.
//!
//! A cell holds one of the two numbers, so that they become a point when the record has both.

use serde_json::{Map, Value};

use super::member::Quantity;
use scouting::visit::code::Code;
use scouting::visit::finding::Finding;

/// What the grid has of easting and northing, meters.
const EASTING: (f64, f64) = (100_000.0, 999_999.0);
const NORTHING: (f64, f64) = (0.0, 10_000_000.0);

/// A zone of the Universal Transverse Mercator grid.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(in crate::mapping) struct UtmZone {
    /// 1 to 60, from 180° W eastward.
    number: u8,
    /// Whether it is north of the equator.
    north: bool,
}

impl UtmZone {
    /// A zone with its hemisphere, as `14N`.
    pub(crate) fn of(text: &str) -> Option<UtmZone> {
        let (number, north) = match (text.strip_suffix('N'), text.strip_suffix('S')) {
            (Some(number), _) => (number, true),
            (_, Some(number)) => (number, false),
            _ => return None,
        };
        let number = number.parse().ok();
        let number = number.filter(|number| (1..=60).contains(number))?;
        Some(UtmZone { number, north })
    }

    /// Longitude and latitude, degrees; none if the grid has no such place.
    fn degrees(self, easting: f64, northing: f64) -> Option<(f64, f64)> {
        // The crate takes the letter of a band: any from N on is north.
        let band = if self.north { 'N' } else { 'M' };
        let point = utm::wsg84_utm_to_lat_lon(easting, northing, self.number, band);
        point.ok().map(|(lat, lon)| (lon, lat))
    }
}

/// What the numbers of a column may be, meters.
pub(in crate::mapping) fn range_on_grid(quantity: Quantity) -> (f64, f64) {
    match quantity {
        Quantity::Longitude => EASTING,
        _ => NORTHING,
    }
}

/// Turns easting and northing of an object, whose pointer is `at`, into degrees; a finding if they are no point.
pub(super) fn point_in_degrees(
    at: &str,
    zone: Option<UtmZone>,
    object: &mut Map<String, Value>,
) -> Option<Finding> {
    let zone = zone?;
    let number = |name| object.get(name).and_then(Value::as_f64);
    let (Some(easting), Some(northing)) = (number("lon"), number("lat")) else {
        // Where one of the two cannot be read, a finding says so; the other alone is no point.
        object.retain(|name, _| name != "lon" && name != "lat");
        return None;
    };
    let Some((lon, lat)) = zone.degrees(easting, northing) else {
        return Some(Finding::new(
            Code::OutOfRange,
            format!("{at}/lon"),
            format!("easting {easting}, northing {northing}"),
            "a point of the mapping's utmZone",
        ));
    };
    object.insert("lon".to_owned(), Value::from(lon));
    object.insert("lat".to_owned(), Value::from(lat));
    None
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_point_of_the_grid_is_where_pyproj_has_it() {
        // pyproj 3.7.2: Transformer.from_crs(4326, 32614, always_xy=True).transform(-100.125, 45.25), with EPSG 32720
        // and 32613 for the others.
        for (zone, easting, northing, lon, lat) in [
            ("14N", 411_719.264_888, 5_011_338.394_940, -100.125, 45.25),
            ("20S", 352_167.607_835, 6_929_589.753_065, -64.5, -27.75),
            ("13N", 583_471.604_446, 5_216_863.844_437, -103.9, 47.1),
        ] {
            let zone = UtmZone::of(zone).expect("a zone");
            let point = zone.degrees(easting, northing).expect("a point");
            // The series of the crate is within a decimeter of it.
            let is_near = (point.0 - lon).abs() < 1e-6 && (point.1 - lat).abs() < 1e-6;
            assert!(is_near, "{point:?}, not {lon} {lat}");
        }
    }

    #[test]
    fn a_zone_has_its_hemisphere() {
        for wrong in ["14", "14T", "0N", "61N", "N", "", "-1N"] {
            assert_eq!(UtmZone::of(wrong), None, "{wrong}");
        }
        assert!(UtmZone::of("60S").is_some());
    }
}
