//! A county's outline as plain rings, fit to be published, and the box around several.
//!
//! Rounds and repairs; does not project. The region keeps its shapes as they came, so that a point is
//! located by the boundaries and not by what is left of them here. Outlines of very many vertices are
//! rounded to a coarser grid, which drops the vertices between its points: each by where it is and by
//! nothing else, so that a border is the same in the counties on both sides of it.

use geo::{BooleanOps, CoordsIter, Orient, Validation, orient::Direction};

use scouting::region::{County, Region};

/// Decimals of a coordinate: about a meter, finer than the boundaries are true.
const DECIMALS: i32 = 5;
/// Decimals for a county so small that it would vanish at [`DECIMALS`]; RFC 7946, section 11.2,
/// finds six enough for anything.
const DECIMALS_MAX: i32 = 6;

/// Vertices of a region that are published at [`DECIMALS`]; the built-in counties of the whole country have some 100,000.
const VERTICES_MAX: usize = 200_000;
/// Parts of the region's greater side that a coarser grid still has: ten times as fine as a map of 720 pixels.
const PARTS_OF_SIDE_MIN: f64 = 7_200.0;
/// Vertices of a county up to which `geo` looks whether it is valid: that takes the square of their number, 10 ms for so
/// many. Above, it is taken apart and put together whether it is or not, which takes little more than their number.
const LOOKED_AT_MAX: usize = 300;
/// How often what was put together is rounded and put together again, if rounding moved a corner.
const MENDINGS_MAX: usize = 3;

/// Rings of `[longitude, latitude]` in degrees, closed; the first is the outside.
pub(crate) type Polygon = Vec<Vec<[f64; 2]>>;

/// The shape of a county as plain rings.
pub(crate) fn rings_of(county: &County) -> impl Iterator<Item = Polygon> + '_ {
    county.shape.iter().map(rings_of_polygon)
}

fn rings_of_polygon(polygon: &geo::Polygon<f64>) -> Polygon {
    let rings = std::iter::once(polygon.exterior()).chain(polygon.interiors());
    rings
        .map(|ring| ring.0.iter().map(|point| [point.x, point.y]).collect())
        .collect()
}

/// The decimals that a region's outlines are rounded to: [`DECIMALS`], or as few as its map allows where it has more
/// vertices than anybody draws.
pub(crate) fn decimals_of(region: &Region) -> i32 {
    let vertices: usize = region
        .counties()
        .iter()
        .map(|county| county.shape.coords_count())
        .sum();
    if vertices <= VERTICES_MAX {
        return DECIMALS;
    }
    let side = region.bounds().width().max(region.bounds().height());
    // A side of 5° at 7,200 parts is 0.0007°: four decimals are finer than that.
    let decimals = -(side / PARTS_OF_SIDE_MIN).log10().floor();
    (decimals as i32).clamp(2, DECIMALS)
}

/// The outline of a county as RFC 7946 and its readers require it: rounded, every ring closed and of
/// four positions or more, exterior rings counter-clockwise and holes clockwise, none crossing or
/// touching itself along a line. Empty only if the county is smaller than a step of 0.000001°.
pub(crate) fn publishable(county: &County, decimals: i32) -> Vec<Polygon> {
    // What vanishes on a coarse grid is kept by a finer one.
    (decimals..=DECIMALS_MAX)
        .map(|decimals| mend(round_all(rings_of(county), decimals), decimals))
        .find(|polygons| !polygons.is_empty())
        .unwrap_or_default()
}

/// Rounds the coordinates and drops what that leaves without an inside: islands and holes smaller
/// than the grid, which would be no valid rings.
fn round_all(polygons: impl Iterator<Item = Polygon>, decimals: i32) -> Vec<Polygon> {
    polygons
        .filter_map(|polygon| {
            let mut rings = polygon.iter().map(|ring| round_ring(ring, decimals));
            let outside = rings.next().filter(|ring| signed_area(ring) > 0.0)?;
            let holes = rings.filter(|ring| signed_area(ring) < 0.0);
            Some(std::iter::once(outside).chain(holes).collect())
        })
        .collect()
}

/// Boundary files that were simplified to a grid hold rings that run back over themselves or cross
/// in a corner (22 of the 3,231 built-in counties), and rounding can make more. Viewers draw them;
/// programs that cut or join shapes refuse the whole file. The union of such a shape with nothing
/// covers the same ground. (By the even-odd rule, as viewers fill: `geo::unary_union` guesses the
/// rule from the first ring's winding, and guesses wrong where a spike starts the ring.)
fn mend(polygons: Vec<Polygon>, decimals: i32) -> Vec<Polygon> {
    let shape = geo::MultiPolygon::new(polygons.iter().map(polygon_of).collect());
    let is_small = shape.coords_count() <= LOOKED_AT_MAX;
    if is_small && shape.is_valid() {
        return polygons;
    }
    let nothing = geo::MultiPolygon::new(Vec::new());
    let mut polygons = polygons;
    for _ in 0..MENDINGS_MAX {
        let shape = geo::MultiPolygon::new(polygons.iter().map(polygon_of).collect());
        let repaired = shape.union(&nothing).orient(Direction::Default);
        let repaired: Vec<Polygon> = repaired.iter().map(rings_of_polygon).collect();
        // The corners where it crossed itself are new and not yet on the grid.
        polygons = round_all(repaired.iter().cloned(), decimals);
        if is_small || polygons == repaired {
            break;
        }
    }
    polygons
}

pub(crate) fn polygon_of(rings: &Polygon) -> geo::Polygon<f64> {
    let mut rings = rings.iter().map(|ring| geo::LineString::from(ring.clone()));
    let outside = rings
        .next()
        .unwrap_or_else(|| geo::LineString::new(Vec::new()));
    geo::Polygon::new(outside, rings.collect())
}

/// A closed ring without repeated positions; empty if fewer than four positions remain.
fn round_ring(ring: &[[f64; 2]], decimals: i32) -> Vec<[f64; 2]> {
    let scale = 10_f64.powi(decimals);
    // Adding zero turns -0 into 0.
    let round = |degrees: f64| (degrees * scale).round() / scale + 0.0;
    let mut rounded: Vec<_> = ring.iter().map(|&[x, y]| [round(x), round(y)]).collect();
    rounded.dedup();
    match rounded.len() {
        0..4 => Vec::new(),
        _ => rounded,
    }
}

/// Twice the area inside a closed ring, positive if it runs counter-clockwise. Taken from the
/// first corner, so that small rings far from zero lose no digits.
fn signed_area(ring: &[[f64; 2]]) -> f64 {
    let Some(&[x0, y0]) = ring.first() else {
        return 0.0;
    };
    let cross = |pair: &[[f64; 2]]| {
        (pair[0][0] - x0) * (pair[1][1] - y0) - (pair[1][0] - x0) * (pair[0][1] - y0)
    };
    ring.windows(2).map(cross).sum()
}

/// The smallest box around polygons on the round earth; `west` > `east` where it crosses the 180th
/// meridian, as RFC 7946, section 5.2, writes it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Extent {
    pub(crate) west: f64,
    pub(crate) south: f64,
    pub(crate) east: f64,
    pub(crate) north: f64,
}

impl Extent {
    /// `None` if there is no polygon. A polygon does not cross the 180th meridian: RFC 7946 cuts
    /// it there.
    pub(crate) fn around<'a>(polygons: impl Iterator<Item = &'a Polygon>) -> Option<Extent> {
        let mut spans = Vec::new();
        let (mut south, mut north) = (f64::INFINITY, f64::NEG_INFINITY);
        for polygon in polygons {
            let (mut west, mut east) = (f64::INFINITY, f64::NEG_INFINITY);
            for &[x, y] in polygon.iter().flatten() {
                (west, east) = (west.min(x), east.max(x));
                (south, north) = (south.min(y), north.max(y));
            }
            spans.push((west, east));
        }
        spans.sort_by(|one, other| one.0.total_cmp(&other.0));
        let (first, last) = (spans.first()?.0, spans.iter().map(|span| span.1));
        // Around the globe the box leaves out the widest gap between the polygons.
        let furthest = last.fold(f64::NEG_INFINITY, f64::max);
        let mut widest = (first + 360.0 - furthest, first, furthest);
        let mut reached = f64::NEG_INFINITY;
        for &(west, east) in &spans {
            if reached.is_finite() && west - reached > widest.0 {
                widest = (west - reached, west, reached);
            }
            reached = reached.max(east);
        }
        Some(Extent {
            west: widest.1,
            south,
            east: widest.2,
            north,
        })
    }

    /// As RFC 7946 orders it.
    pub(crate) fn bbox(self) -> [f64; 4] {
        [self.west, self.south, self.east, self.north]
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn square(west: f64, east: f64) -> Polygon {
        let (south, north) = (50.0, 52.0);
        vec![vec![
            [west, south],
            [east, south],
            [east, north],
            [west, north],
            [west, south],
        ]]
    }

    fn west_and_east(spans: &[(f64, f64)]) -> (f64, f64) {
        let polygons: Vec<_> = spans
            .iter()
            .map(|&(west, east)| square(west, east))
            .collect();
        let extent = Extent::around(polygons.iter()).expect("polygons");
        (extent.west, extent.east)
    }

    #[test]
    fn the_box_takes_the_short_way_around() {
        assert_eq!(west_and_east(&[(-104.0, -96.0)]), (-104.0, -96.0));
        assert_eq!(
            west_and_east(&[(-104.0, -100.0), (-90.0, -88.0)]),
            (-104.0, -88.0)
        );
        // An island chain on both sides of the 180th meridian.
        assert_eq!(
            west_and_east(&[(-180.0, -163.0), (172.0, 180.0)]),
            (172.0, -163.0)
        );
        assert_eq!(
            west_and_east(&[(177.0, 179.0), (-179.0, -178.0)]),
            (177.0, -178.0)
        );
        // One polygon inside the span of another must not open a gap.
        assert_eq!(
            west_and_east(&[(0.0, 100.0), (10.0, 20.0), (90.0, 150.0)]),
            (0.0, 150.0)
        );
        assert_eq!(Extent::around([].iter()), None);
    }

    #[test]
    fn a_rounded_ring_stays_closed_and_one_without_an_inside_vanishes() {
        let ring = [
            [0.0, 0.0],
            [0.000_004, 0.0],
            [1.0, -0.000_001],
            [1.0, 1.0],
            [0.0, 0.0],
        ];
        let rounded = round_ring(&ring, 5);
        assert_eq!(rounded, [[0.0, 0.0], [1.0, 0.0], [1.0, 1.0], [0.0, 0.0]]);
        assert!(
            rounded.iter().flatten().all(|x| x.is_sign_positive()),
            "a -0 is left"
        );
        let speck = [[0.0, 0.0], [1e-6, 0.0], [1e-6, 1e-6], [0.0, 0.0]];
        assert!(round_ring(&speck, 5).is_empty());
        assert_eq!(round_ring(&speck, 6).len(), 4);
        let sliver = [[0.0, 0.0], [1.0, 0.0], [2.0, 1e-6], [0.0, 0.0]];
        assert_eq!(signed_area(&round_ring(&sliver, 5)), 0.0);
    }

    /// A county with one exterior ring.
    fn county(ring: &[[f64; 2]]) -> County {
        County {
            id: "001".to_owned(),
            name: "Alder".to_owned(),
            shape: geo::MultiPolygon::new(vec![polygon_of(&vec![ring.to_vec()])]),
        }
    }

    fn area(polygons: &[Polygon]) -> f64 {
        polygons
            .iter()
            .flatten()
            .map(|ring| signed_area(ring) / 2.0)
            .sum()
    }

    #[test]
    fn a_ring_that_runs_back_over_itself_loses_the_spike_and_keeps_its_ground() {
        let spiked = [
            [0.0, 0.0],
            [4.0, 0.0],
            [4.0, 2.0],
            [6.0, 2.0],
            [4.0, 2.0],
            [4.0, 4.0],
            [0.0, 4.0],
            [0.0, 0.0],
        ];
        let repaired = publishable(&county(&spiked), DECIMALS);
        assert_eq!((repaired.len(), area(&repaired)), (1, 16.0));
        assert!(!repaired[0][0].contains(&[6.0, 2.0]), "{repaired:?}");
    }

    #[test]
    fn a_spike_at_the_start_of_a_ring_is_no_exception() {
        // As the built-in outline of county 17069 has it.
        let spiked = [
            [0.0, 2.0],
            [0.0, 1.0],
            [0.0, 2.0],
            [4.0, 2.0],
            [4.0, 5.0],
            [0.0, 5.0],
            [0.0, 2.0],
        ];
        let repaired = publishable(&county(&spiked), DECIMALS);
        assert_eq!((repaired.len(), area(&repaired)), (1, 12.0));
    }

    #[test]
    fn a_ring_that_meets_itself_in_a_corner_becomes_valid_rings_of_the_same_ground() {
        let pinched = [
            [0.0, 0.0],
            [2.0, 0.0],
            [2.0, 2.0],
            [4.0, 2.0],
            [4.0, 4.0],
            [2.0, 4.0],
            [2.0, 2.0],
            [0.0, 2.0],
            [0.0, 0.0],
        ];
        let repaired = publishable(&county(&pinched), DECIMALS);
        assert_eq!(area(&repaired), 8.0);
        for ring in repaired.iter().flatten() {
            assert!(ring.len() >= 4 && ring.first() == ring.last());
            let corners = &ring[1..];
            let again = |place: usize| corners[..place].contains(&corners[place]);
            assert!(!(0..corners.len()).any(again), "{ring:?}");
        }
    }

    #[test]
    fn a_good_outline_is_only_rounded() {
        let good = [[0.0, 0.0], [1.234_567_8, 0.0], [1.0, 1.0], [0.0, 0.0]];
        let rounded = [[0.0, 0.0], [1.234_57, 0.0], [1.0, 1.0], [0.0, 0.0]];
        assert_eq!(
            publishable(&county(&good), DECIMALS),
            [vec![rounded.to_vec()]]
        );
    }

    #[test]
    fn a_county_smaller_than_the_grid_is_kept_by_a_finer_one() {
        let speck = [[0.0, 0.0], [4e-6, 0.0], [4e-6, 4e-6], [0.0, 0.0]];
        assert_eq!(
            publishable(&county(&speck), DECIMALS),
            [vec![speck.to_vec()]]
        );
    }
}
