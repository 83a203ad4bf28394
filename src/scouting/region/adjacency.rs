//! Which counties are next to each other: queen contiguity, in which a single common point is enough.
//!
//! Two counties are neighbours if their outlines come within a millionth of a degree of each other, or one
//! is in the other. Files drawn from one topology, as the built-in one, share their vertices
//! exactly; in others a corner that is on the middle of a neighbour's edge was rounded off it when it
//! was written. Nothing beyond that rounding is bridged: counties with a real gap between them are no
//! neighbours. Planar, so outlines on the two sides of the 180th meridian do not touch.
//!
//! Where a simplified drawing makes two counties overlap that share no vertex, they are neighbours all the same:
//! in the built-in one that is a single pair, San Joaquin and Santa Clara in California.

use std::collections::BTreeSet;

use geo::coordinate_position::CoordPos;
use geo::{BoundingRect, Coord, Distance, Euclidean, Intersects, Line, LinesIter, Polygon};
use rstar::primitives::{GeomWithData, Rectangle};
use rstar::{AABB, RTree};

use super::county::County;
use super::inside::Inside;

/// Coordinates with six decimals are the coarsest that RFC 7946, section 11.2, speaks of, and represent about
/// 10 cm; one unit of the sixth decimal, degrees.
const TOUCH_DEGREES: f64 = 1e-6;

/// An item of an index, with the position of its county.
type Boxed<Item> = GeomWithData<Rectangle<[f64; 2]>, (usize, Item)>;

/// For each county, in the order given, the positions of its neighbours: sorted, each once, without its own.
/// A county that touches none has an empty list.
pub fn neighbours_of(counties: &[County]) -> Vec<Vec<usize>> {
    let mut pairs = BTreeSet::new();
    pair_by_outline(counties, &mut pairs);
    pair_by_inside(counties, &mut pairs);
    let mut neighbours = vec![Vec::new(); counties.len()];
    for (one, other) in pairs {
        neighbours[one].push(other);
        neighbours[other].push(one);
    }
    for near in &mut neighbours {
        near.sort_unstable();
    }
    neighbours
}

/// Every edge of every outline in one index: of a state's outlines only the edges near a common border
/// are ever compared.
fn pair_by_outline(counties: &[County], pairs: &mut BTreeSet<(usize, usize)>) {
    let edges: Vec<Boxed<Line>> = counties
        .iter()
        .enumerate()
        .flat_map(|(county, of)| {
            of.shape
                .lines_iter()
                .map(move |edge| boxed(edge.start, edge.end, (county, edge)))
        })
        .collect();
    let index = RTree::bulk_load(edges);
    for edge in index.iter() {
        let (county, line) = edge.data;
        for near in index.locate_in_envelope_intersecting(&reach_of(line)) {
            let (other, other_line) = near.data;
            // Each pair once, from the lower county, and no more once it is known.
            if county < other && !pairs.contains(&(county, other)) && touch(&line, &other_line) {
                pairs.insert((county, other));
            }
        }
    }
}

fn touch(one: &Line, other: &Line) -> bool {
    one.intersects(other) || Euclidean.distance(one, other) <= TOUCH_DEGREES
}

/// Outlines that do not meet can still be one in the other, where a file draws a county without the
/// hole for a town within it.
fn pair_by_inside(counties: &[County], pairs: &mut BTreeSet<(usize, usize)>) {
    let polygons: Vec<Boxed<(&Polygon, Inside)>> = counties
        .iter()
        .enumerate()
        .flat_map(|(county, of)| of.shape.iter().map(move |polygon| (county, polygon)))
        .filter_map(|(county, polygon)| {
            let bounds = polygon.bounding_rect()?;
            let of = (polygon, Inside::default());
            Some(boxed(bounds.min(), bounds.max(), (county, of)))
        })
        .collect();
    let index = RTree::bulk_load(polygons);
    for inner in index.iter() {
        let (county, (polygon, _)) = &inner.data;
        let county = *county;
        // If outlines do not meet, one point shows where the whole polygon is.
        let Some(&corner) = polygon.exterior().0.first() else {
            continue;
        };
        for outer in index.locate_all_at_point(&[corner.x, corner.y]) {
            let (other, (around, index)) = &outer.data;
            let pair = (county.min(*other), county.max(*other));
            if county != *other
                && !pairs.contains(&pair)
                && index.position(around, corner) != CoordPos::Outside
            {
                pairs.insert(pair);
            }
        }
    }
}

fn boxed<Item>(one: Coord, other: Coord, item: (usize, Item)) -> Boxed<Item> {
    GeomWithData::new(
        Rectangle::from_corners([one.x, one.y], [other.x, other.y]),
        item,
    )
}

/// The box around an edge in which whatever touches it must have a part.
fn reach_of(edge: Line) -> AABB<[f64; 2]> {
    let bounds = edge.bounding_rect();
    AABB::from_corners(
        [
            bounds.min().x - TOUCH_DEGREES,
            bounds.min().y - TOUCH_DEGREES,
        ],
        [
            bounds.max().x + TOUCH_DEGREES,
            bounds.max().y + TOUCH_DEGREES,
        ],
    )
}

#[cfg(test)]
mod tests {
    use geo::{MultiPolygon, Rect, polygon};

    use super::*;

    fn county(shape: impl Into<MultiPolygon>) -> County {
        County {
            id: String::new(),
            name: String::new(),
            shape: shape.into(),
        }
    }

    fn square(x: f64, y: f64, width: f64) -> MultiPolygon {
        MultiPolygon(vec![Rect::new((x, y), (x + width, y + width)).to_polygon()])
    }

    #[test]
    fn squares_of_a_board_have_a_queens_neighbours() {
        let board: Vec<County> = (0..9)
            .map(|cell| county(square(f64::from(cell % 3), f64::from(cell / 3), 1.0)))
            .collect();
        let neighbours = neighbours_of(&board);
        assert_eq!(neighbours[0], [1, 3, 4]);
        assert_eq!(neighbours[4], [0, 1, 2, 3, 5, 6, 7, 8]);
        assert_eq!(neighbours[5], [1, 2, 4, 7, 8]);
        for (one, near) in neighbours.iter().enumerate() {
            for &other in near {
                assert!(neighbours[other].contains(&one), "{one} and {other}");
            }
        }
    }

    #[test]
    fn a_corner_on_the_middle_of_an_edge_touches_even_if_it_was_rounded_off() {
        // A slanted border, and a neighbour whose corner was written with six decimals.
        let below = polygon![(x: 0.0, y: 0.0), (x: 3.0, y: 0.0), (x: 3.0, y: 1.0)];
        let third: f64 = 1.0 / 3.0;
        let rounded = (third * 1e6).ceil() / 1e6;
        let above = |y: f64| polygon![(x: 1.0, y: y), (x: 1.0, y: 2.0), (x: 0.5, y: 2.0)];
        assert!(rounded > third);
        let near = |y: f64| neighbours_of(&[county(below.clone()), county(above(y))]);
        assert_eq!(near(rounded), [vec![1], vec![0]]);
        // A gap of some metres is a gap.
        assert_eq!(near(rounded + 1e-4), [vec![], vec![]] as [Vec<usize>; 2]);
    }

    #[test]
    fn islands_have_no_neighbours_and_parts_of_a_county_are_not_its_own() {
        let mut two_parts = square(0.0, 0.0, 1.0);
        two_parts.0.extend(square(1.0, 1.0, 1.0));
        let counties = [
            county(two_parts),
            county(square(5.0, 5.0, 1.0)),
            county(square(2.0, 0.0, 1.0)),
            county(MultiPolygon(Vec::new())),
        ];
        let expected: [Vec<usize>; 4] = [vec![2], vec![], vec![0], vec![]];
        assert_eq!(neighbours_of(&counties), expected);
        assert!(neighbours_of(&[]).is_empty());
    }

    #[test]
    fn a_town_within_a_county_is_its_neighbour_with_a_hole_or_without() {
        let town = square(1.0, 1.0, 1.0);
        let whole = square(0.0, 0.0, 3.0);
        let hole = town.0[0].exterior().clone();
        let with_hole = Polygon::new(whole.0[0].exterior().clone(), vec![hole]);
        for around in [whole, MultiPolygon(vec![with_hole])] {
            for counties in [
                [county(around.clone()), county(town.clone())],
                [county(town.clone()), county(around.clone())],
            ] {
                assert_eq!(neighbours_of(&counties), [vec![1], vec![0]]);
            }
        }
        // Within the hole, and away from its rim: it touches nothing.
        let rim = square(0.5, 0.5, 2.0).0[0].exterior().clone();
        let away = Polygon::new(square(0.0, 0.0, 3.0).0[0].exterior().clone(), vec![rim]);
        let apart = neighbours_of(&[county(away), county(town)]);
        assert_eq!(apart, [vec![], vec![]] as [Vec<usize>; 2]);
    }
}
