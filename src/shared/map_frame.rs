//! Where a county's outline falls on a drawing, and its path. Knows no figure and no color.

use std::fmt::Write;

use super::outline::{Extent, Polygon, rings_of};
use scouting::region::County;

/// Positions on the drawing, closed.
pub(crate) type Ring = Vec<[f64; 2]>;

/// Where degrees fall on the drawing: equirectangular, true to scale along the middle parallel,
/// which over a state or two looks like any other map.
pub(crate) struct Frame {
    extent: Extent,
    pixels_per_degree_east: f64,
    pixels_per_degree_north: f64,
    pub(crate) width: u32,
    pub(crate) height: u32,
}

impl Frame {
    const WIDTH_MAX: f64 = 720.0;
    const HEIGHT_MAX: f64 = 560.0;
    /// Room for the outlines of the counties on the edge.
    const MARGIN: f64 = 5.0;

    pub(crate) fn around(counties: &[County]) -> Frame {
        let polygons: Vec<Polygon> = counties.iter().flat_map(rings_of).collect();
        let extent = Extent::around(polygons.iter()).unwrap_or(Extent {
            west: -1.0,
            south: -1.0,
            east: 1.0,
            north: 1.0,
        });
        // Degrees are compared along the middle parallel; a sliver keeps zero-width regions apart.
        let shrink = ((extent.south + extent.north) / 2.0)
            .to_radians()
            .cos()
            .max(0.01);
        let wide = (degrees_east(extent.west, extent.east) * shrink).max(1e-6);
        let high = (extent.north - extent.south).max(1e-6);
        let scale = ((Self::WIDTH_MAX - 2.0 * Self::MARGIN) / wide)
            .min((Self::HEIGHT_MAX - 2.0 * Self::MARGIN) / high);
        Frame {
            extent,
            pixels_per_degree_east: scale * shrink,
            pixels_per_degree_north: scale,
            // At most a few hundred, by the scale that was chosen.
            width: (wide * scale + 2.0 * Self::MARGIN).ceil() as u32,
            height: (high * scale + 2.0 * Self::MARGIN).ceil() as u32,
        }
    }

    /// The rings of a county on the drawing, the largest first.
    pub(crate) fn place(&self, county: &County) -> Vec<Ring> {
        let place = |&[lon, lat]: &[f64; 2]| {
            let east = degrees_east(self.extent.west, lon);
            [
                Self::MARGIN + east * self.pixels_per_degree_east,
                Self::MARGIN + (self.extent.north - lat) * self.pixels_per_degree_north,
            ]
        };
        let mut rings: Vec<Ring> = rings_of(county)
            .flatten()
            .map(|ring| ring.iter().map(place).collect())
            .collect();
        rings.sort_by(|one, other| area(other).total_cmp(&area(one)));
        rings
    }
}

/// How far east of `from` a longitude is, across the 180th meridian if need be.
fn degrees_east(from: f64, to: f64) -> f64 {
    if to < from {
        to - from + 360.0
    } else {
        to - from
    }
}

fn area(ring: &Ring) -> f64 {
    let cross = |pair: &[[f64; 2]]| pair[0][0] * pair[1][1] - pair[1][0] * pair[0][1];
    (ring.windows(2).map(cross).sum::<f64>() / 2.0).abs()
}

/// Where room is looked for, in parts of a ring's height.
const LEVELS: [f64; 13] = [
    0.5, 0.45, 0.55, 0.4, 0.6, 0.35, 0.65, 0.3, 0.7, 0.25, 0.75, 0.2, 0.8,
];

/// The middle of a place inside a county that is `wide` and twice `half_height` high: on the first
/// level with room, beginning at the middle of its largest ring. Holes are outside.
pub(crate) fn room_for(rings: &[Ring], wide: f64, half_height: f64) -> Option<(f64, f64)> {
    let heights = || rings.first().into_iter().flatten().map(|point| point[1]);
    let (low, high) = (
        heights().fold(f64::INFINITY, f64::min),
        heights().fold(f64::NEG_INFINITY, f64::max),
    );
    LEVELS
        .into_iter()
        .filter_map(|part| {
            let level = low + part * (high - low);
            let lines = [-1.0, -0.5, 0.0, 0.5, 1.0]
                .map(|step| stretches(rings, level + step * half_height));
            let clear = lines
                .into_iter()
                .reduce(|one, other| common(&one, &other))?;
            let widest = clear
                .into_iter()
                .max_by(|one, other| length(one).total_cmp(&length(other)))?;
            (length(&widest) >= wide).then(|| (f64::midpoint(widest[0], widest[1]), level))
        })
        .next()
}

fn length(stretch: &[f64; 2]) -> f64 {
    stretch[1] - stretch[0]
}

/// The stretches of a level line that are inside, from left to right.
fn stretches(rings: &[Ring], level: f64) -> Vec<[f64; 2]> {
    let mut crossings: Vec<f64> = rings
        .iter()
        .flat_map(|ring| ring.windows(2))
        .filter(|pair| (pair[0][1] > level) != (pair[1][1] > level))
        .map(|pair| {
            let along = (level - pair[0][1]) / (pair[1][1] - pair[0][1]);
            pair[0][0] + along * (pair[1][0] - pair[0][0])
        })
        .collect();
    crossings.sort_by(f64::total_cmp);
    let pairs = crossings.chunks_exact(2);
    pairs.map(|pair| [pair[0], pair[1]]).collect()
}

/// What is in a stretch of each; both run from left to right.
fn common(one: &[[f64; 2]], other: &[[f64; 2]]) -> Vec<[f64; 2]> {
    let mut both = Vec::new();
    let (mut ones, mut others) = (one.iter().peekable(), other.iter().peekable());
    while let (Some(a), Some(b)) = (ones.peek(), others.peek()) {
        let stretch = [a[0].max(b[0]), a[1].min(b[1])];
        if length(&stretch) > 0.0 {
            both.push(stretch);
        }
        // The one that ends first meets nothing more.
        match a[1] <= b[1] {
            true => ones.next(),
            false => others.next(),
        };
    }
    both
}

/// Path commands in tenths of a pixel. Rings that shrink to a point are left out, but a county
/// never vanishes: one of which nothing is left becomes a small square.
pub(crate) fn path_of(rings: &[Ring]) -> String {
    let mut path = String::new();
    for ring in rings {
        let mut points: Vec<[i64; 2]> = ring.iter().map(|point| point.map(tenths)).collect();
        points.dedup();
        if points.first() == points.last() {
            points.pop();
        }
        if points.len() < 3 {
            continue;
        }
        for (place, point) in points.iter().enumerate() {
            match place {
                0 => path.push('M'),
                1 => path.push('L'),
                _ => path.push(' '),
            }
            let _ = write!(path, "{} {}", decimal(point[0]), decimal(point[1]));
        }
        path.push('Z');
    }
    match (path.is_empty(), rings.first().and_then(|ring| ring.first())) {
        (true, Some([x, y])) => format!("M{} {}h3v3h-3Z", tenth(*x), tenth(*y)),
        _ => path,
    }
}

/// Tenths of a pixel, of a position inside the frame.
fn tenths(pixels: f64) -> i64 {
    (pixels * 10.0).round() as i64
}

pub(crate) fn tenth(pixels: f64) -> String {
    decimal(tenths(pixels))
}

/// A number of tenths in the shortest form.
fn decimal(tenths: i64) -> String {
    match tenths % 10 {
        0 => (tenths / 10).to_string(),
        _ => format!("{}", tenths as f64 / 10.0),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_county_too_small_to_draw_still_leaves_a_mark() {
        let speck = vec![vec![
            [10.0, 20.0],
            [10.01, 20.0],
            [10.0, 20.01],
            [10.0, 20.0],
        ]];
        assert_eq!(path_of(&speck), "M10 20h3v3h-3Z");
        let triangle = vec![vec![[0.0, 0.0], [10.04, 0.0], [0.0, 7.26], [0.0, 0.0]]];
        assert_eq!(path_of(&triangle), "M0 0L10 0 0 7.3Z");
    }

    #[test]
    fn a_number_is_set_where_the_county_has_room_for_its_height() {
        // A U: at mid height its two arms, the right one wider.
        let u = vec![
            [0.0, 0.0],
            [10.0, 0.0],
            [10.0, 8.0],
            [20.0, 8.0],
            [20.0, 0.0],
            [50.0, 0.0],
            [50.0, 10.0],
            [0.0, 10.0],
            [0.0, 0.0],
        ];
        let rings = std::slice::from_ref(&u);
        assert_eq!(room_for(rings, 20.0, 2.0), Some((35.0, 5.0)));
        assert_eq!(room_for(rings, 31.0, 2.0), None);
        // With a hole in the arm, only what is to its right is clear.
        let hole = vec![[22.0, 4.0], [24.0, 4.0], [24.0, 6.0], [22.0, 4.0]];
        let rings = [u, hole];
        assert_eq!(room_for(&rings, 20.0, 2.0), Some((37.0, 5.0)));
        // A letter twice as high as the county has no room.
        assert_eq!(room_for(&rings, 20.0, 12.0), None);
    }
}
