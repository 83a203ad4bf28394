//! One county of a region: its id, its name and its outline.

use geo::InteriorPoint;

/// One county, or what the user's file has in a county's place.
#[derive(Debug, Clone, PartialEq)]
pub struct County {
    /// Identity within the region, as text; built-in: five digits of state and county (FIPS).
    pub id: String,
    /// The name that people know it by.
    pub name: String,
    /// Outline in degrees of longitude and latitude, planar; wound as RFC 7946 requires: exterior
    /// rings counter-clockwise, holes clockwise, every ring closed.
    pub shape: geo::MultiPolygon<f64>,
}

impl County {
    /// A point inside the county, longitude and latitude in degrees, for rows of fields whose own point is not known.
    pub fn inner_point(&self) -> (f64, f64) {
        let inside = self.shape.interior_point();
        inside.map_or_else(Default::default, |point| (point.x(), point.y()))
    }
}
