//! Outlines that cross themselves, found before anything is drawn or counted by them.
//!
//! A small crossing, as simplifying a file leaves it, is of no account: what is published is repaired. One that encloses
//! ground twice is refused: a point in it is in the county by the outline's winding, and viewers, which fill by the
//! even-odd rule, leave it white. Which of the two was meant, nobody but the maker of the file knows, so nothing is
//! repaired here.
//!
//! The work is bounded: edges come from one index, and a file whose edges lie so over one another that the search would
//! take the square of their number is refused as well. What works with the edges later (neighbors, drawing) then is quick.

use geo::line_intersection::line_intersection;
use geo::{Area, BooleanOps, Line, LineIntersection, MultiPolygon};
use rstar::RTree;
use rstar::primitives::GeomWithData;

use super::county::County;
use super::outline::unusable;
use crate::failure::Failure;

/// Edges that are met for each edge at the most, over the whole file. In one without faults an edge meets itself, the two
/// next to it, and on a common border as many of the neighbor: six.
const MET_PER_EDGE_MAX: usize = 200;
/// Edges that are met in any case, however few edges a file has.
const MET_FREE: usize = 1_000_000;
/// Places where a county's outline may cross itself, for one edge; beyond that it is no outline with a fault, but a
/// tangle. Parts of a county that touch along a border are none.
const CROSSINGS_PER_EDGE_MAX: f64 = 0.1;
/// Crossings that are let pass in any case.
const CROSSINGS_FREE: usize = 100;
/// The part of a county's ground that may be enclosed twice, or not at all: below that it is a matter of the drawing.
const GROUND_SHARE_MAX: f64 = 0.001;

/// A county whose outline meets itself, and where it does first.
#[derive(Debug, Clone, PartialEq)]
pub struct Crossed {
    /// Its place among the counties.
    pub county: usize,
    /// Longitude and latitude, degrees.
    pub at: (f64, f64),
}

/// An edge and where it belongs.
#[derive(Debug, Clone, Copy)]
struct Edge {
    county: usize,
    /// Number among all edges; those of a ring follow one another.
    number: usize,
    /// Numbers of the first and the last edge of its ring.
    ring: (usize, usize),
}

type Indexed = GeomWithData<Line<f64>, Edge>;

/// The counties whose outlines meet themselves in a way that matters for drawing only.
///
/// # Errors
/// A [`Failure`] for an outline that encloses ground twice, or for a file of tangled outlines.
pub(super) fn crossed(counties: &[County], place: &str) -> Result<Vec<Crossed>, Failure> {
    let edges = edges_of(counties);
    let mut found: Vec<Meetings> = counties.iter().map(|_| Meetings::default()).collect();
    for edge in &edges {
        found[edge.data.county].edges += 1;
    }
    let index = RTree::bulk_load(edges);
    let most = MET_FREE + MET_PER_EDGE_MAX * index.size();
    let mut met = 0;
    for (edge, other) in index.intersection_candidates_with_other_tree(&index) {
        met += 1;
        let county = &counties[edge.data.county];
        if met > most {
            return Err(tangled(county, "edges that lie over one another", place));
        }
        let of = &mut found[edge.data.county];
        if let Some((at, is_crossing)) = meeting(edge, other) {
            of.first.get_or_insert(at);
            of.crossings += usize::from(is_crossing);
        }
        if of.are_too_many() {
            let what = "an outline that crosses itself again and again";
            return Err(tangled(county, what, place));
        }
    }
    let mut crossed = Vec::new();
    for (county, meetings) in found.iter().enumerate() {
        if let Some(at) = meetings.first {
            refuse_ground_twice(&counties[county], at, place)?;
            crossed.push(Crossed { county, at });
        }
    }
    Ok(crossed)
}

/// Where the outline of a county meets itself.
#[derive(Debug, Default)]
struct Meetings {
    edges: usize,
    crossings: usize,
    first: Option<(f64, f64)>,
}

impl Meetings {
    fn are_too_many(&self) -> bool {
        self.crossings > CROSSINGS_FREE
            && self.crossings as f64 > self.edges as f64 * CROSSINGS_PER_EDGE_MAX
    }
}

fn edges_of(counties: &[County]) -> Vec<Indexed> {
    let mut edges = Vec::new();
    for (county, of) in counties.iter().enumerate() {
        for polygon in &of.shape {
            for ring in std::iter::once(polygon.exterior()).chain(polygon.interiors()) {
                let first = edges.len();
                // A position that is written twice makes no edge.
                let lines = ring.lines().filter(|line| line.start != line.end);
                let lines: Vec<Line<f64>> = lines.collect();
                let last = first + lines.len().saturating_sub(1);
                for (number, line) in (first..).zip(lines) {
                    let ring = (first, last);
                    edges.push(GeomWithData::new(
                        line,
                        Edge {
                            county,
                            number,
                            ring,
                        },
                    ));
                }
            }
        }
    }
    edges
}

/// Where two edges of a county meet that do not follow one another, each pair once; and whether they cross there.
fn meeting(one: &Indexed, other: &Indexed) -> Option<((f64, f64), bool)> {
    let (edge, far) = (one.data, other.data);
    if edge.county != far.county || edge.number >= far.number {
        return None;
    }
    let follows = edge.ring == far.ring
        && (edge.number + 1 == far.number || (edge.number, far.number) == edge.ring);
    let (at, is_crossing) = match line_intersection(*one.geom(), *other.geom())? {
        // Neighbors in the ring share their corner, and nothing else.
        LineIntersection::SinglePoint { .. } if follows => return None,
        LineIntersection::SinglePoint {
            intersection,
            is_proper,
        } => (intersection, is_proper),
        LineIntersection::Collinear { intersection } => (intersection.start, false),
    };
    Some(((at.x, at.y), is_crossing))
}

/// Compares the ground by winding with that by the even-odd rule.
fn refuse_ground_twice(county: &County, at: (f64, f64), place: &str) -> Result<(), Failure> {
    let by_winding = county.shape.signed_area();
    let by_even_odd = county
        .shape
        .union(&MultiPolygon::new(Vec::new()))
        .unsigned_area();
    if (by_winding - by_even_odd).abs() <= GROUND_SHARE_MAX * by_winding {
        return Ok(());
    }
    let (lon, lat) = at;
    Err(unusable(
        place,
        format!(
            "the outline of {} ({}) crosses itself near {lon:.5}, {lat:.5}, and encloses ground twice: so it is unclear whether \
             that is part of the county",
            county.name, county.id
        ),
    )
    .mend(REPAIR))
}

fn tangled(county: &County, what: &str, place: &str) -> Failure {
    unusable(
        place,
        format!(
            "the boundary file has {what}, as in {} ({})",
            county.name, county.id
        ),
    )
    .mend(REPAIR)
}

const REPAIR: &str = "take the file from its source again, or repair it and look at it: ogr2ogr -makevalid new.geojson old.geojson";
