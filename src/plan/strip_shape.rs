//! The shape of one strip: a plank on the inner side of each edge, a fan in each gap between two planks, cut
//! to the field.
//!
//! It knows neither sites nor pressure; which part of a side, and how deep, is said to it.

use std::f64::consts::PI;

use geo::{
    Area, BooleanOps, Coord, Distance, Euclidean, Line, LineString, MultiPolygon, Polygon, coord,
    unary_union,
};

use super::sides::{ROUNDING_M, Side, angle_of, inward, turn};

/// Arcs at corners that point into the field are drawn in steps of this angle: 5 degrees.
const ARC_STEP: f64 = PI / 36.0;

/// What is within some meters of a part of a side, inwards, in the field and joined to that part.
pub(super) fn draw_strip(
    side: &Side,
    from: f64,
    to: f64,
    meters: f64,
    field: &Polygon,
) -> MultiPolygon {
    let part = side.part(from, to);
    let (Some(first), Some(last)) = (part.first(), part.last()) else {
        return MultiPolygon(Vec::new());
    };
    if meters.is_nan() || meters <= ROUNDING_M {
        return MultiPolygon(Vec::new());
    }
    let mut pieces: Vec<Polygon> = part.iter().map(|edge| plank(edge, meters)).collect();
    for [one, next] in part.array_windows() {
        pieces.extend(fan(one.end, angle_of(inward(one)), turn(one, next), meters));
    }
    // Where the outline bends inwards at a corner, each of its two sides has half of the gap.
    let [half_before, half_after] = side.turns.map(|turn| turn / 2.0);
    if from <= 0.0 {
        let bisector = angle_of(inward(first)) - half_before;
        pieces.extend(fan(first.start, bisector, half_before, meters));
    }
    if to >= side.length() {
        pieces.extend(fan(last.end, angle_of(inward(last)), half_after, meters));
    }
    let within = unary_union(&pieces).intersection(field);
    // Beyond a notch the planks may meet the field again: that is no part of the strip.
    let line: LineString = part
        .iter()
        .flat_map(|edge| [edge.start, edge.end])
        .collect();
    let joined = |piece: &Polygon| Euclidean.distance(piece, &line) <= ROUNDING_M;
    // A crumb of the rounding would collapse when coordinates are written.
    let whole = |piece: &Polygon| piece.unsigned_area() > ROUNDING_M;
    let pieces = within.into_iter();
    MultiPolygon(
        pieces
            .filter(|piece| joined(piece) && whole(piece))
            .collect(),
    )
}

/// The rectangle on the inner side of an edge.
fn plank(edge: &Line, meters: f64) -> Polygon {
    let inwards = inward(edge) * meters;
    let corners = vec![
        edge.start,
        edge.end,
        edge.end + inwards,
        edge.start + inwards,
    ];
    Polygon::new(LineString(corners), Vec::new())
}

/// The sector about a corner that points into the field, between two planks; none at other corners.
fn fan(corner: Coord, from: f64, turn: f64, meters: f64) -> Option<Polygon> {
    if turn >= 0.0 {
        return None;
    }
    let steps = (-turn / ARC_STEP).ceil().max(1.0) as u32;
    let arc = (0..=steps).rev().map(|step| {
        let (sine, cosine) = (from + turn * f64::from(step) / f64::from(steps)).sin_cos();
        corner + coord! { x: cosine, y: sine } * meters
    });
    Some(Polygon::new(
        [corner].into_iter().chain(arc).collect(),
        Vec::new(),
    ))
}
