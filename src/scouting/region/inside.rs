//! Whether a point is in one polygon, in a time that does not grow with its vertices.
//!
//! Below some hundred vertices `geo` walks along the ring, which is the quickest; above, the edges to the right of the
//! point come from an index, made when the first point is asked for. Both count windings with the same robust
//! predicates, so they say the same.

use std::sync::OnceLock;

use geo::coordinate_position::{CoordPos, CoordinatePosition};
use geo::kernels::{Kernel, Orientation, RobustKernel};
use geo::{Coord, CoordsIter, Line, LinesIter, Point, Polygon};
use rstar::{AABB, RTree};

/// From so many vertices on, an index pays after some ten points. Our choice, by measuring.
const INDEXED_VERTICES_MIN: usize = 1_000;

/// The index of one polygon, which is given again at each question.
#[derive(Debug, Clone, Default)]
pub(super) struct Inside {
    edges: OnceLock<RTree<Line<f64>>>,
}

impl Inside {
    /// Where a point is. Rings are wound as [`super::County`] has them: holes against their outline.
    pub(super) fn position(&self, polygon: &Polygon<f64>, point: Coord<f64>) -> CoordPos {
        if polygon.coords_count() < INDEXED_VERTICES_MIN {
            return polygon.coordinate_position(&point);
        }
        let edges = self
            .edges
            .get_or_init(|| RTree::bulk_load(polygon.lines_iter().collect()));
        let to_the_right = AABB::from_corners(Point(point), Point::new(f64::MAX, point.y));
        let mut windings = 0;
        for edge in edges.locate_in_envelope_intersecting(&to_the_right) {
            match side(edge, point) {
                None => return CoordPos::OnBoundary,
                Some(winding) => windings += winding,
            }
        }
        match windings {
            0 => CoordPos::Outside,
            _ => CoordPos::Inside,
        }
    }
}

/// How an edge winds around a point on whose level it is: 1 upward on its right, -1 downward, 0 not at all; none if
/// the point is on it.
fn side(edge: &Line<f64>, point: Coord<f64>) -> Option<i32> {
    let (start, end) = (edge.start, edge.end);
    let turn = RobustKernel::orient2d(start, end, point);
    let within =
        |one: f64, other: f64, value: f64| one.min(other) <= value && value <= one.max(other);
    if turn == Orientation::Collinear
        && within(start.x, end.x, point.x)
        && within(start.y, end.y, point.y)
    {
        return None;
    }
    let upward = start.y <= point.y && end.y > point.y;
    let downward = start.y > point.y && end.y <= point.y;
    Some(match turn {
        Orientation::CounterClockwise if upward => 1,
        Orientation::Clockwise if downward => -1,
        _ => 0,
    })
}

#[cfg(test)]
mod tests {
    use geo::{LineString, polygon};

    use super::*;

    /// A wheel of so many spokes, long and short in turn, with a hole in its middle.
    fn wheel(spokes: usize) -> Polygon<f64> {
        let ring = |long: f64, short: f64, sense: f64| {
            let corner = |spoke: usize| {
                let angle = sense * std::f64::consts::TAU * spoke as f64 / spokes as f64;
                let reach = if spoke.is_multiple_of(2) { long } else { short };
                (reach * angle.cos(), reach * angle.sin())
            };
            LineString::from((0..spokes).chain([0]).map(corner).collect::<Vec<_>>())
        };
        Polygon::new(ring(10.0, 6.0, 1.0), vec![ring(3.0, 2.0, -1.0)])
    }

    #[test]
    fn the_index_says_what_the_walk_along_the_ring_says() {
        let polygon = wheel(2 * INDEXED_VERTICES_MIN);
        let inside = Inside::default();
        let mut seen = [0; 3];
        for step in 0..4_000 {
            let (angle, reach) = (f64::from(step) * 0.7, f64::from(step % 120) / 10.0);
            let point = geo::coord! { x: reach * angle.cos(), y: reach * angle.sin() };
            let expected = polygon.coordinate_position(&point);
            assert_eq!(inside.position(&polygon, point), expected, "{point:?}");
            seen[usize::from(expected == CoordPos::Inside)] += 1;
        }
        for ring in std::iter::once(polygon.exterior()).chain(polygon.interiors()) {
            for corner in &ring.0 {
                assert_eq!(inside.position(&polygon, *corner), CoordPos::OnBoundary);
                seen[2] += 1;
            }
        }
        assert!(seen.iter().all(|count| *count > 500), "{seen:?}");
        assert!(
            inside
                .edges
                .get()
                .is_some_and(|edges| edges.size() == polygon.lines_iter().count())
        );
    }

    #[test]
    fn level_edges_and_corners_on_the_level_are_counted_once() {
        let stairs = polygon![(x: 0.0, y: 0.0), (x: 4.0, y: 0.0), (x: 4.0, y: 2.0), (x: 2.0, y: 2.0), (x: 2.0, y: 4.0), (x: 0.0, y: 4.0)];
        let edges = RTree::bulk_load(stairs.lines_iter().collect());
        let inside = Inside {
            edges: OnceLock::from(edges),
        };
        let indexed = |x: f64, y: f64| {
            let point = geo::coord! { x: x, y: y };
            let mut windings = Some(0);
            let right = AABB::from_corners(Point(point), Point::new(f64::MAX, y));
            for edge in inside
                .edges
                .get()
                .expect("made")
                .locate_in_envelope_intersecting(&right)
            {
                windings = windings.and_then(|all| side(edge, point).map(|one| all + one));
            }
            windings
        };
        for (x, y, expected) in [
            (1.0, 2.0, Some(1)),
            (-1.0, 2.0, Some(0)),
            (3.0, 2.0, None),
            (5.0, 2.0, Some(0)),
            (-1.0, 0.0, Some(0)),
            (-1.0, 4.0, Some(0)),
            (1.0, 0.0, None),
        ] {
            assert_eq!(indexed(x, y), expected, "{x}, {y}");
        }
    }
}
