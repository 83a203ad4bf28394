//! Labelled outlines → counties with closed rings in degrees, each wound as RFC 7946 requires.
//!
//! Does not simplify, project or repair shapes: what encloses nothing is refused.

use geo::{Area, Coord, LineString, MultiPolygon, Polygon};

use super::county::County;
use super::outline::{Outline, Ring, unusable};
use crate::failure::Failure;

/// Room for the rounding of a quantised coordinate at the very edge of the world, in degrees.
const ROUNDING_DEGREES: f64 = 1e-9;
/// A closed ring needs a triangle and its first position again (RFC 7946, section 3.1.6).
const POSITIONS_OF_RING_MIN: usize = 4;
/// Outlines → counties, sorted by id. Refuses an empty region, an id that is there twice, a county
/// without an outline and coordinates that are not degrees.
pub(super) fn gather_counties(
    mut outlines: Vec<Outline>,
    place: &str,
) -> Result<Vec<County>, Failure> {
    if outlines.is_empty() {
        return Err(unusable(place, "the boundaries hold no county")
            .mend("give a file with one polygon feature a county"));
    }
    outlines.sort_by(|one, other| one.id.cmp(&other.id));
    if let Some([one, other]) = outlines
        .array_windows()
        .find(|[one, other]| one.id == other.id)
    {
        return Err(unusable(
            &format!("{}; {}", one.place, other.place),
            format!(
                "two counties have the id {}: {} and {}",
                one.id, one.name, other.name
            ),
        )
        .mend("give each county its own id, and a county of several parts one MultiPolygon"));
    }
    outlines.into_iter().map(draw_county).collect()
}

fn draw_county(outline: Outline) -> Result<County, Failure> {
    let shape = draw_shape(outline.polygons, &outline.place)?;
    // Outlines run against the clock and holes with it: holes as large as their outline leave nothing.
    if shape.signed_area() <= 0.0 {
        return Err(unusable(
            &outline.place,
            format!(
                "the outline of {} ({}) encloses nothing",
                outline.name, outline.id
            ),
        )
        .mend("its rings have fewer than four positions, no area, or holes as large as they are; take a less simplified file"));
    }
    Ok(County {
        id: outline.id,
        name: outline.name,
        shape,
    })
}

/// Polygons that enclose something, wound for RFC 7946. Simplified files hold rings that have
/// collapsed to a point or a line; they hold no point and other programs refuse the file for them.
pub(super) fn draw_shape(
    polygons: Vec<Vec<Ring>>,
    place: &str,
) -> Result<MultiPolygon<f64>, Failure> {
    let mut drawn = Vec::new();
    for rings in polygons {
        for position in rings.iter().flatten() {
            check_degrees(position, place)?;
        }
        let mut rings = rings.into_iter();
        let exterior = rings.next().and_then(|ring| wind(ring, true));
        if let Some(exterior) = exterior {
            let holes = rings.filter_map(|ring| wind(ring, false)).collect();
            drawn.push(Polygon::new(exterior, holes));
        }
    }
    Ok(MultiPolygon(drawn))
}

/// A closed ring in the wanted sense, or nothing if it encloses nothing.
fn wind(ring: Ring, counter_clockwise: bool) -> Option<LineString<f64>> {
    let mut ring = LineString(ring);
    ring.close();
    if ring.0.len() < POSITIONS_OF_RING_MIN {
        return None;
    }
    let polygon = Polygon::new(ring, Vec::new());
    let area = polygon.signed_area();
    let (mut ring, _) = polygon.into_inner();
    if area == 0.0 {
        return None;
    }
    if (area > 0.0) != counter_clockwise {
        ring.0.reverse();
    }
    Some(ring)
}

fn check_degrees(position: &Coord<f64>, place: &str) -> Result<(), Failure> {
    // Written so that a value that is not a number fails too.
    let within =
        position.x.abs() <= 180.0 + ROUNDING_DEGREES && position.y.abs() <= 90.0 + ROUNDING_DEGREES;
    if within {
        return Ok(());
    }
    Err(unusable(
        place,
        format!(
            "{}, {} is not a longitude and a latitude in degrees",
            position.x, position.y
        ),
    )
    .mend("is it projected, or are the two swapped? give longitude and latitude: ogr2ogr -t_srs OGC:CRS84"))
}
