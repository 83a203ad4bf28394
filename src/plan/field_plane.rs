//! A field's outline laid out in meters, if it bears measuring.
//!
//! It knows no side and no site, and repairs nothing: an outline that crosses itself is refused.

use std::f64::consts::PI;
use std::fmt;

use geo::orient::Direction;
use geo::{
    Area, BoundingRect, Centroid, Coord, CoordsIter, LineString, MapCoords, Orient, Polygon,
    RemoveRepeatedPoints, Validation, coord,
};

use scouting::visit::record::Outline;

/// Semi-major axis in meters and flattening of WGS 84 (NIMA TR8350.2, from memory).
const WGS_84: (f64, f64) = (6_378_137.0, 1.0 / 298.257_223_563);
/// Beyond this from corner to corner the plane is no longer true to some thousandths at the rim: our
/// choice.
pub(super) const EXTENT_MAX_M: f64 = 20_000.0;
/// More positions than this, holes and all, are no drawing of a field but a burden: our choice.
const POSITIONS_MAX: usize = 10_000;
/// Nearer to the pole than this, a degree of longitude is no measure: our choice.
const LATITUDE_MAX: f64 = 85.0;

/// Why an outline bears no strips.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum OutlineFlaw {
    /// No ring, a ring without area, or a coordinate that is none.
    EnclosesNothing,
    /// Rings that cross themselves or each other.
    CrossesItself,
    /// More positions or more sides than a field has.
    TooDetailed,
    /// Too large for a plane, on both sides of the 180th meridian, or near a pole.
    BeyondThePlane,
}

impl fmt::Display for OutlineFlaw {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            OutlineFlaw::EnclosesNothing => "the outline encloses nothing",
            OutlineFlaw::CrossesItself => "the outline crosses or touches itself",
            OutlineFlaw::TooDetailed => {
                "the outline has more than 10,000 positions or more than 100 sides: draw it simpler"
            }
            OutlineFlaw::BeyondThePlane => {
                "the outline is more than 20 km across, or is near a pole or on both sides of the 180th meridian"
            }
        })
    }
}

/// The plane that touches the ellipsoid at a point: meters east and north of it.
pub(super) struct Plane {
    origin: Coord,
    meters_per_degree: Coord,
}

impl Plane {
    pub(super) fn at(origin: Coord) -> Plane {
        let (semi_major, flattening) = WGS_84;
        let eccentricity_squared = flattening * (2.0 - flattening);
        let (sine, cosine) = origin.y.to_radians().sin_cos();
        // Radii of curvature of the parallel's normal section and of the meridian.
        let bulge = 1.0 - eccentricity_squared * sine * sine;
        let normal = semi_major / bulge.sqrt();
        let meridian = normal * (1.0 - eccentricity_squared) / bulge;
        Plane {
            origin,
            meters_per_degree: coord! { x: normal * cosine, y: meridian } * (PI / 180.0),
        }
    }

    pub(super) fn meters(&self, position: Coord) -> Coord {
        let from = position - self.origin;
        coord! { x: from.x * self.meters_per_degree.x, y: from.y * self.meters_per_degree.y }
    }

    pub(super) fn degrees(&self, position: Coord) -> Coord {
        let by = self.meters_per_degree;
        self.origin + coord! { x: position.x / by.x, y: position.y / by.y }
    }
}

/// The outline in meters, wound counter-clockwise, if it bears measuring.
pub(super) fn lay_out(outline: &Outline) -> Result<(Plane, Polygon), OutlineFlaw> {
    if outline.coordinates.iter().map(Vec::len).sum::<usize>() > POSITIONS_MAX {
        return Err(OutlineFlaw::TooDetailed);
    }
    let mut rings = outline.coordinates.iter().map(|ring| {
        let ring: LineString = ring.iter().map(|&[x, y]| coord! { x: x, y: y }).collect();
        ring.remove_repeated_points()
    });
    let exterior = rings.next().ok_or(OutlineFlaw::EnclosesNothing)?;
    let degrees = Polygon::new(exterior, rings.collect());
    let is_number = |at: Coord| at.x.is_finite() && at.y.is_finite();
    if !degrees.coords_iter().all(is_number) {
        return Err(OutlineFlaw::EnclosesNothing);
    }
    let bounds = degrees
        .bounding_rect()
        .ok_or(OutlineFlaw::EnclosesNothing)?;
    let middle = degrees.centroid().ok_or(OutlineFlaw::EnclosesNothing)?;
    if bounds.min().y < -LATITUDE_MAX || bounds.max().y > LATITUDE_MAX {
        return Err(OutlineFlaw::BeyondThePlane);
    }
    let plane = Plane::at(middle.0);
    let field = degrees.map_coords(|position| plane.meters(position));
    let across = plane.meters(bounds.max()) - plane.meters(bounds.min());
    if across.x.hypot(across.y) > EXTENT_MAX_M {
        return Err(OutlineFlaw::BeyondThePlane);
    }
    let without_area = |ring: &LineString| {
        ring.0.len() < 4 || Polygon::new(ring.clone(), Vec::new()).unsigned_area() == 0.0
    };
    if without_area(field.exterior()) || field.interiors().iter().any(without_area) {
        return Err(OutlineFlaw::EnclosesNothing);
    }
    if !field.is_valid() {
        return Err(OutlineFlaw::CrossesItself);
    }
    Ok((plane, field.orient(Direction::Default)))
}

#[cfg(test)]
mod tests {
    use geo::GeodesicArea;

    use super::*;

    fn outline(rings: &[&[[f64; 2]]]) -> Outline {
        Outline {
            kind: "Polygon".to_owned(),
            coordinates: rings.iter().map(|ring| ring.to_vec()).collect(),
        }
    }

    fn flaw(rings: &[&[[f64; 2]]]) -> Option<OutlineFlaw> {
        lay_out(&outline(rings)).err()
    }

    /// Against the geodesic area on the ellipsoid (Karney 2013, as geographiclib computes it).
    #[test]
    fn areas_are_those_on_the_ellipsoid() {
        for lat in [-60.0, 0.0, 44.123_45, 49.0] {
            let ring = [
                [-100.12, lat],
                [-100.10, lat + 0.002],
                [-100.11, lat + 0.015],
                [-100.125, lat + 0.012],
            ];
            let (plane, field) = lay_out(&outline(&[&ring])).expect("a sound outline");
            let degrees = field.map_coords(|position| plane.degrees(position));
            let share = field.unsigned_area() / degrees.geodesic_area_unsigned();
            assert!((share - 1.0).abs() < 2e-5, "{share} at {lat}");
        }
    }

    #[test]
    fn outlines_that_do_not_bear_measuring_are_refused_with_the_reason() {
        use OutlineFlaw::{BeyondThePlane, CrossesItself, EnclosesNothing};
        let square = [[0.0, 0.0], [0.01, 0.0], [0.01, 0.01], [0.0, 0.01]];
        assert_eq!(flaw(&[&square]), None);
        assert_eq!(flaw(&[]), Some(EnclosesNothing));
        assert_eq!(flaw(&[&[]]), Some(EnclosesNothing));
        assert_eq!(flaw(&[&[[1.0, 1.0]; 4]]), Some(EnclosesNothing));
        let line = [[0.0, 0.0], [0.01, 0.01], [0.02, 0.02], [0.0, 0.0]];
        assert_eq!(flaw(&[&line]), Some(EnclosesNothing));
        let not_a_number = [[0.0, 0.0], [f64::NAN, 0.0], [0.01, 0.01], [0.0, 0.01]];
        assert_eq!(flaw(&[&not_a_number]), Some(EnclosesNothing));
        let bow_tie = [[0.0, 0.0], [0.01, 0.01], [0.01, 0.0], [0.0, 0.012]];
        assert_eq!(flaw(&[&bow_tie]), Some(CrossesItself));
        let outside = [[0.02, 0.02], [0.03, 0.02], [0.03, 0.03]];
        assert_eq!(flaw(&[&square, &outside]), Some(CrossesItself));
        let both_sides = square.map(|[x, y]| [if x == 0.0 { 179.99 } else { -179.99 }, y]);
        assert_eq!(flaw(&[&both_sides]), Some(BeyondThePlane));
        assert_eq!(
            flaw(&[&square.map(|[x, y]| [x * 20.0, y])]),
            Some(BeyondThePlane)
        );
        assert_eq!(
            flaw(&[&square.map(|[x, y]| [x, y + 89.0])]),
            Some(BeyondThePlane)
        );
        assert_eq!(
            flaw(&[&square.map(|[x, y]| [x, y - 89.99])]),
            Some(BeyondThePlane)
        );
    }
}
