//! The sides of a field's outline, and where along them a site is.
//!
//! A side is a run of the outer ring's edges that face the same way, in quarters about the field's own main
//! direction: a field that is askew has four sides as well, and so has a circle. Holes have no
//! sides. All in the meters of [`super::field_plane`]; it knows no pressure and draws nothing.

use std::f64::consts::{FRAC_PI_2, FRAC_PI_4, PI};
use std::fmt;

use geo::line_intersection::{LineIntersection, line_intersection};
use geo::{Coord, Line, LinesIter, Polygon, coord};

use super::field_plane::{EXTENT_MAX_M, OutlineFlaw};

/// A step in a side, at a gate or a shed, that is shorter belongs to the side: our choice.
const STEP_MAX_M: f64 = 25.0;
/// More sides than this are a rough drawing, not a field's: our choice.
const SIDES_MAX: usize = 100;
/// A site farther from its side is none of the edge: our choice; sites are about 6 m in.
const SITE_FROM_SIDE_MAX_M: f64 = 100.0;
/// How far a named direction may differ from the way that a side faces: short of 45 degrees, where it
/// would name a corner; our choice.
const FACING_MAX: f64 = 40.0 * PI / 180.0;
/// Below this share of the perimeter that agrees on a direction (a circle: 0), the compass is the direction.
const AGREEMENT_MIN: f64 = 0.1;
/// Of rounding, in meters: coordinates of seven decimals are exact to about a centimeter.
pub(super) const ROUNDING_M: f64 = 0.01;
/// Ways to face, counter-clockwise from east, with how scouts write them.
const FACINGS: [(&str, &str); 8] = [
    ("east", "e"),
    ("north-east", "ne"),
    ("north", "n"),
    ("north-west", "nw"),
    ("west", "w"),
    ("south-west", "sw"),
    ("south", "s"),
    ("south-east", "se"),
];

/// Why a site has no strip.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum NoStrip {
    /// Neither a point nor a side.
    NoPlace,
    /// The point is far from the side.
    FarFromSide,
    /// The side's name is no direction that one side of this outline faces.
    NoSuchSide,
    /// Several sites of one side, not all with a point, and their distances differ.
    Undivided,
}

impl fmt::Display for NoStrip {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            NoStrip::NoPlace => "the site has neither a point nor a side",
            NoStrip::FarFromSide => "the site's point is more than 100 m from the side",
            NoStrip::NoSuchSide => "the outline has no one side that faces as the site's side says",
            NoStrip::Undivided => {
                "several sites of one side differ, and without their points it is not known where each is"
            }
        })
    }
}

/// The sides of an outline.
pub(super) struct Sides {
    /// Round the field, counter-clockwise.
    pub(super) sides: Vec<Side>,
    /// The way that the first quarter faces, radians from east.
    direction: f64,
}

/// A run of edges that face the same quarter, from corner to corner, the field on its left.
pub(super) struct Side {
    quarter: usize,
    /// The way that it faces, as the compass has it.
    pub(super) facing: &'static str,
    edges: Vec<Line>,
    /// By how much the outline turns at the side's first and last corner, radians, left positive.
    pub(super) turns: [f64; 2],
}

/// Edges that face one quarter.
struct Run {
    quarter: usize,
    edges: Vec<Line>,
}

impl Run {
    fn length(&self) -> f64 {
        self.edges.iter().map(length).sum()
    }
}

impl Sides {
    /// The sides of a field that is wound counter-clockwise. An outline with more sides than a field has
    /// is refused: it shows no side where a site could be.
    pub(super) fn of(field: &Polygon) -> Result<Sides, OutlineFlaw> {
        let edges: Vec<Line> = field.exterior().lines_iter().collect();
        let direction = main_direction(&edges);
        let runs = join_over_steps(gather_runs(edges, direction));
        if runs.len() > SIDES_MAX {
            return Err(OutlineFlaw::TooDetailed);
        }
        let turn_before = |at: usize| {
            let before = &runs[(at + runs.len() - 1) % runs.len()].edges;
            turn(&before[before.len() - 1], &runs[at].edges[0])
        };
        let sides = (0..runs.len())
            .map(|at| Side {
                quarter: runs[at].quarter,
                facing: facing_of(&runs[at].edges),
                edges: runs[at].edges.clone(),
                turns: [turn_before(at), turn_before((at + 1) % runs.len())],
            })
            .collect();
        Ok(Sides { sides, direction })
    }

    /// The sides that a site represents, with its position where it is known. A point decides, among the
    /// sides that face as the scout says, if the scout says so.
    pub(super) fn place(
        &self,
        point: Option<Coord>,
        side: Option<&str>,
    ) -> Result<Vec<(usize, Option<f64>)>, NoStrip> {
        let named = side.map(|side| self.facing(side));
        let Some(point) = point.filter(|point| point.x.is_finite() && point.y.is_finite()) else {
            let named = named.ok_or(NoStrip::NoPlace)?.ok_or(NoStrip::NoSuchSide)?;
            return Ok(named.into_iter().map(|side| (side, None)).collect());
        };
        let among = named.flatten().unwrap_or((0..self.sides.len()).collect());
        let nearest = among
            .into_iter()
            .map(|side| (side, self.sides[side].nearest_to(point)))
            .min_by(|(_, one), (_, other)| one.0.total_cmp(&other.0));
        match nearest {
            Some((side, (meters, position))) if meters <= SITE_FROM_SIDE_MAX_M => {
                Ok(vec![(side, Some(position))])
            }
            _ => Err(NoStrip::FarFromSide),
        }
    }

    /// The sides that face as a scout's word says; `None` if it is no word for one way, or for a corner.
    fn facing(&self, written: &str) -> Option<Vec<usize>> {
        let written = written
            .to_lowercase()
            .replace("side", "")
            .replace("edge", "");
        let letters =
            |text: &str| -> String { text.chars().filter(|c| c.is_alphabetic()).collect() };
        let eighth = FACINGS.iter().position(|(word, short)| {
            letters(&written) == letters(word) || letters(&written) == *short
        })?;
        let wanted = eighth as f64 * FRAC_PI_4;
        let sides: Vec<usize> = (0..self.sides.len())
            .filter(|&side| {
                let faces = self.direction + self.sides[side].quarter as f64 * FRAC_PI_2;
                between_angles(wanted, faces) <= FACING_MAX
            })
            .collect();
        (!sides.is_empty()).then_some(sides)
    }
}

impl Side {
    /// Meters from corner to corner along the edges.
    pub(super) fn length(&self) -> f64 {
        self.edges.iter().map(length).sum()
    }

    /// Distance to a point, and the position on the side that is nearest to it.
    fn nearest_to(&self, point: Coord) -> (f64, f64) {
        let mut before = 0.0;
        let mut nearest = (f64::INFINITY, 0.0);
        for edge in &self.edges {
            let along =
                (dot(point - edge.start, edge.delta()) / length(edge)).clamp(0.0, length(edge));
            let foot = edge.start + edge.delta() * (along / length(edge));
            let meters = (point - foot).x.hypot((point - foot).y);
            if meters < nearest.0 {
                nearest = (meters, before + along);
            }
            before += length(edge);
        }
        nearest
    }

    /// The parts of the side, from and to in meters, that are nearest to each of these positions, in the
    /// order of the positions.
    pub(super) fn divide(&self, positions: &[f64]) -> Vec<(f64, f64)> {
        let mut sorted: Vec<usize> = (0..positions.len()).collect();
        sorted.sort_by(|&one, &other| positions[one].total_cmp(&positions[other]));
        let mut parts = vec![(0.0, self.length()); positions.len()];
        for &[one, next] in sorted.array_windows() {
            let middle = (positions[one] + positions[next]) / 2.0;
            parts[one].1 = middle;
            parts[next].0 = middle;
        }
        parts
    }

    /// The field's width at a position of the side: how far it is, straight inwards, to the outer ring again.
    pub(super) fn width_at(&self, position: f64, field: &Polygon) -> f64 {
        let mut before = 0.0;
        let edge = self.edges.iter().find(|edge| {
            before += length(edge);
            before >= position
        });
        let Some(edge) = edge.or(self.edges.last()) else {
            return 0.0;
        };
        let start = edge.end - edge.delta() * ((before - position) / length(edge));
        let ray = Line::new(start, start + inward(edge) * (2.0 * EXTENT_MAX_M));
        field
            .exterior()
            .lines_iter()
            .filter_map(|other| line_intersection(ray, other))
            .map(|crossing| {
                // Two lines along each other: the nearer end counts.
                let ends = match crossing {
                    LineIntersection::SinglePoint { intersection, .. } => [intersection; 2],
                    LineIntersection::Collinear { intersection } => {
                        [intersection.start, intersection.end]
                    }
                };
                ends.map(|end| (end - start).x.hypot((end - start).y))
            })
            .flat_map(|ends| ends.into_iter().filter(|meters| *meters > ROUNDING_M))
            .fold(2.0 * EXTENT_MAX_M, f64::min)
    }

    /// The edges of a part of the side, the first and the last cut.
    pub(super) fn part(&self, from: f64, to: f64) -> Vec<Line> {
        let mut before = 0.0;
        let mut part = Vec::new();
        for edge in &self.edges {
            let length = length(edge);
            let (start, end) = ((from - before).max(0.0), (to - before).min(length));
            if end - start > ROUNDING_M {
                let at = |meters: f64| edge.start + edge.delta() * (meters / length);
                part.push(Line::new(at(start), at(end)));
            }
            before += length;
        }
        part
    }
}

/// The direction, of a quarter turn, in which most of the perimeter runs: the mean of four times the
/// angles, weighed by length.
fn main_direction(edges: &[Line]) -> f64 {
    let (mut sine, mut cosine, mut perimeter) = (0.0, 0.0, 0.0);
    for edge in edges {
        let fourfold = 4.0 * angle_of(edge.delta());
        sine += length(edge) * fourfold.sin();
        cosine += length(edge) * fourfold.cos();
        perimeter += length(edge);
    }
    match sine.hypot(cosine) < AGREEMENT_MIN * perimeter {
        true => 0.0,
        false => sine.atan2(cosine) / 4.0,
    }
}

/// Runs of edges that face the same quarter, from a corner on, so that no side is cut where the ring happens
/// to begin.
fn gather_runs(mut edges: Vec<Line>, direction: f64) -> Vec<Run> {
    let quarter = |edge: &Line| {
        let steps = (angle_of(outward(edge)) - direction) / FRAC_PI_2;
        (steps.round() as i64).rem_euclid(4) as usize
    };
    let last = edges.last().map(quarter);
    let corner = edges
        .array_windows()
        .position(|[one, next]| quarter(one) != quarter(next));
    if let Some(corner) = corner.filter(|_| edges.first().map(quarter) == last) {
        edges.rotate_left(corner + 1);
    }
    let mut runs: Vec<Run> = Vec::new();
    for edge in edges {
        let quarter = quarter(&edge);
        match runs.last_mut() {
            Some(run) if run.quarter == quarter => run.edges.push(edge),
            _ => runs.push(Run {
                quarter,
                edges: vec![edge],
            }),
        }
    }
    runs
}

/// A short run between two that face alike is a step in one side.
fn join_over_steps(mut runs: Vec<Run>) -> Vec<Run> {
    while runs.len() > 4 {
        let around = |at: usize| [(at + runs.len() - 1) % runs.len(), (at + 1) % runs.len()];
        let is_step = |at: &usize| {
            let [before, after] = around(*at).map(|at| runs[at].quarter);
            before == after && runs[*at].length() < STEP_MAX_M
        };
        let Some(step) = (0..runs.len()).find(is_step) else {
            break;
        };
        let [before, _] = around(step);
        runs.rotate_left(before);
        let joined: Vec<Line> = runs.drain(1..=2).flat_map(|run| run.edges).collect();
        runs[0].edges.extend(joined);
    }
    runs
}

fn facing_of(run: &[Line]) -> &'static str {
    let out = run
        .iter()
        .map(outward_by_length)
        .fold(Coord::zero(), |sum, one| sum + one);
    let eighths = (angle_of(out) / FRAC_PI_4).round() as i64;
    FACINGS[eighths.rem_euclid(8) as usize].0
}

pub(super) fn length(edge: &Line) -> f64 {
    edge.delta().x.hypot(edge.delta().y)
}

fn dot(one: Coord, other: Coord) -> f64 {
    one.x * other.x + one.y * other.y
}

fn outward_by_length(edge: &Line) -> Coord {
    coord! { x: edge.delta().y, y: -edge.delta().x }
}

fn outward(edge: &Line) -> Coord {
    outward_by_length(edge) / length(edge)
}

/// Of length 1, into the field: it points to the left.
pub(super) fn inward(edge: &Line) -> Coord {
    outward(edge) * -1.0
}

pub(super) fn angle_of(direction: Coord) -> f64 {
    direction.y.atan2(direction.x)
}

/// From one edge to the next, left positive.
pub(super) fn turn(one: &Line, next: &Line) -> f64 {
    let (one, next) = (one.delta(), next.delta());
    (one.x * next.y - one.y * next.x).atan2(dot(one, next))
}

fn between_angles(one: f64, other: f64) -> f64 {
    let difference = (one - other).rem_euclid(2.0 * PI);
    difference.min(2.0 * PI - difference)
}

#[cfg(test)]
mod tests {
    use geo::{LineString, Rotate, polygon};

    use super::*;

    fn field(corners: &[(f64, f64)]) -> Polygon {
        Polygon::new(LineString::from(corners.to_vec()), Vec::new())
    }

    fn square() -> Polygon {
        field(&[(0.0, 0.0), (800.0, 0.0), (800.0, 800.0), (0.0, 800.0)])
    }

    fn sides_of(field: &Polygon) -> Sides {
        Sides::of(field).expect("not too many sides")
    }

    fn facings(sides: &Sides) -> Vec<&'static str> {
        let mut facings: Vec<&str> = sides.sides.iter().map(|side| side.facing).collect();
        facings.sort_unstable();
        facings
    }

    #[test]
    fn a_square_has_four_sides_however_it_lies() {
        for degrees in [0.0, 3.0, 30.0, 44.0, 45.0, 46.0, 77.0, 90.0] {
            let turned = square().rotate_around_centroid(degrees);
            let sides = sides_of(&turned);
            let expected = match (30.0..=46.0).contains(&degrees) {
                false => ["east", "north", "south", "west"],
                true => ["north-east", "north-west", "south-east", "south-west"],
            };
            assert_eq!(facings(&sides), expected, "{degrees}");
            for side in &sides.sides {
                assert!((side.length() - 800.0).abs() < 1e-6);
                assert!((side.width_at(100.0, &turned) - 800.0).abs() < 1e-6);
            }
        }
    }

    #[test]
    fn a_circle_has_four_sides_and_a_step_makes_no_side() {
        let circle: Vec<(f64, f64)> = (0..360)
            .map(|degree| f64::from(degree).to_radians().sin_cos())
            .map(|(sine, cosine)| (400.0 * cosine, 400.0 * sine))
            .collect();
        let sides = sides_of(&field(&circle));
        assert_eq!(facings(&sides), ["east", "north", "south", "west"]);
        // Wherever the ring begins: a gate of ten meters in the south side.
        let stepped = [
            (0.0, 0.0),
            (300.0, 0.0),
            (300.0, 10.0),
            (310.0, 10.0),
            (310.0, 0.0),
            (800.0, 0.0),
            (800.0, 800.0),
            (0.0, 800.0),
        ];
        for begin in 0..stepped.len() {
            let mut ring = stepped;
            ring.rotate_left(begin);
            let sides = sides_of(&field(&ring));
            assert_eq!(
                facings(&sides),
                ["east", "north", "south", "west"],
                "{begin}"
            );
        }
        // A yard of a hundred meters is none: two sides more, and the south one in three.
        let yard = stepped.map(|(x, y)| (x, if y == 10.0 { 100.0 } else { y }));
        assert_eq!(sides_of(&field(&yard)).sides.len(), 8);
    }

    #[test]
    fn a_saw_has_too_many_sides() {
        let tooth = |at: i32| {
            let x = f64::from(at) * 30.0;
            [(x, 100.0), (x, 0.0), (x + 15.0, 0.0), (x + 15.0, 100.0)]
        };
        let mut saw: Vec<(f64, f64)> = (0..30).flat_map(tooth).collect();
        saw.extend([(900.0, 300.0), (0.0, 300.0)]);
        let refused = Sides::of(&field(&saw)).err();
        assert_eq!(refused, Some(OutlineFlaw::TooDetailed));
    }

    #[test]
    fn a_scouts_word_finds_the_side_and_a_corner_is_none() {
        let sides = sides_of(&square());
        let side_of = |word: &str| {
            let found = sides.place(None, Some(word))?;
            Ok(sides.sides[found[0].0].facing)
        };
        for word in ["north", "N", "n.", "North side", "north edge", "NORTH"] {
            assert_eq!(side_of(word), Ok("north"), "{word}");
        }
        for word in ["north-east", "NE", "road", "", "nord", "12"] {
            assert_eq!(side_of(word), Err(NoStrip::NoSuchSide), "{word}");
        }
        let askew = sides_of(&square().rotate_around_centroid(45.0));
        assert!(askew.place(None, Some("north")).is_err() && askew.place(None, Some("sw")).is_ok());
        assert_eq!(sides.place(None, None), Err(NoStrip::NoPlace));
    }

    #[test]
    fn a_point_lies_on_the_nearest_side_or_on_the_one_that_is_named() {
        let sides = sides_of(&square());
        let place = |x: f64, y: f64, side| {
            let found = sides.place(Some(coord! { x: x, y: y }), side)?;
            let (side, position) = found[0];
            Ok((sides.sides[side].facing, position.map(f64::round)))
        };
        assert_eq!(place(200.0, 794.0, None), Ok(("north", Some(600.0))));
        assert_eq!(place(200.0, 806.0, None), Ok(("north", Some(600.0))));
        // In the corner the west side is nearer, but the scout came from the north.
        assert_eq!(place(4.0, 794.0, None), Ok(("west", Some(6.0))));
        assert_eq!(place(4.0, 794.0, Some("north")), Ok(("north", Some(796.0))));
        assert_eq!(place(400.0, 400.0, None), Err(NoStrip::FarFromSide));
        assert_eq!(place(400.0, 6.0, Some("north")), Err(NoStrip::FarFromSide));
        assert_eq!(place(f64::NAN, 6.0, None), Err(NoStrip::NoPlace));
    }

    #[test]
    fn each_part_of_a_side_belongs_to_its_nearest_site() {
        let sides = sides_of(&square());
        let side = &sides.sides[0];
        assert_eq!(side.divide(&[600.0, 200.0]), [(400.0, 800.0), (0.0, 400.0)]);
        assert_eq!(side.divide(&[10.0]), [(0.0, 800.0)]);
        assert_eq!(length(&side.part(100.0, 350.0)[0]), 250.0);
    }

    #[test]
    fn the_width_is_that_to_the_side_across() {
        let wedge = polygon![(x: 0.0, y: 0.0), (x: 800.0, y: 0.0), (x: 800.0, y: 400.0)];
        let sides = sides_of(&wedge);
        let south = sides.sides.iter().find(|side| side.facing == "south");
        let south = south.expect("a side that faces south");
        assert!((south.width_at(400.0, &wedge) - 200.0).abs() < 1e-9);
    }
}
