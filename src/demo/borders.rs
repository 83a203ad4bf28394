//! Invented borders: rows of counties between wandering lines, one of them a river, and a lake with an island.
//!
//! Neighbours share their border vertex by vertex, because each stretch of border is drawn once and used from both sides.

use geo::{BoundingRect, Coord, LineString, MultiPolygon, Polygon};
use rand::Rng;
use rand_chacha::ChaCha8Rng;

use super::chance::rounded;

/// Longitudes of the region's western and eastern edge, degrees.
const WEST_EAST: (f64, f64) = (-101.5, -98.5);
/// Latitude of the region's southern edge, degrees.
const SOUTH: f64 = 44.0;
/// Height of a row of counties, degrees.
const ROW_HEIGHT: f64 = 0.625;
/// Where the counties of each row end, as shares of the way east; rows from south to north. No two
/// neighbouring rows end at the same place, so that the map is no chequerboard.
pub(super) const ROW_CUTS: [&[f64]; 4] = [
    &[0.27, 0.52, 0.74],
    &[0.36, 0.63],
    &[0.17, 0.43, 0.56, 0.80],
    &[0.25, 0.50, 0.70],
];
/// The border line, counted from the south, that is a river.
const RIVER_LINE: usize = 2;
/// How a stretch of border wanders.
#[derive(Debug, Clone, Copy)]
struct Wander {
    /// How far it strays from the straight line, degrees.
    amplitude: f64,
    /// How many bends it has besides, as a river.
    bends: f64,
    /// Distance between its vertices, degrees.
    step: f64,
}

const SURVEYED: Wander = Wander {
    amplitude: 0.004,
    bends: 0.0,
    step: 0.12,
};
const NATURAL: Wander = Wander {
    amplitude: 0.03,
    bends: 0.0,
    step: 0.05,
};
const RIVER: Wander = Wander {
    amplitude: 0.035,
    bends: 3.0,
    step: 0.015,
};

/// A border line from west to east: the corners on it and the stretches between them.
pub(super) struct BorderLine {
    /// Where counties of the row below or above end: row and number of the cut.
    corners: Vec<(Corner, Coord<f64>)>,
    /// `stretches[i]` runs from corner `i` to corner `i + 1`, both included.
    stretches: Vec<Vec<Coord<f64>>>,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Corner {
    West,
    Cut { row: usize, cut: usize },
    East,
}

pub(super) fn draw_line(line: usize, chance: &mut ChaCha8Rng) -> BorderLine {
    let rows_beside = [line.checked_sub(1), Some(line)];
    let mut cuts: Vec<(f64, Corner)> = rows_beside
        .into_iter()
        .flatten()
        .filter_map(|row| ROW_CUTS.get(row).map(|cuts| (row, *cuts)))
        .flat_map(|(row, cuts)| {
            cuts.iter()
                .enumerate()
                .map(move |(cut, share)| (*share, Corner::Cut { row, cut }))
        })
        .map(|(share, corner)| (share + chance.random_range(-0.015..0.015), corner))
        .collect();
    cuts.push((0.0, Corner::West));
    cuts.push((1.0, Corner::East));
    cuts.sort_by(|a, b| a.0.total_cmp(&b.0));
    let (west, east) = WEST_EAST;
    let corners: Vec<(Corner, Coord<f64>)> = cuts
        .into_iter()
        .map(|(share, corner)| {
            let lat = SOUTH + ROW_HEIGHT * line as f64 + chance.random_range(-0.05..0.05);
            (corner, vertex(west + (east - west) * share, lat))
        })
        .collect();
    let wander = if line == RIVER_LINE { RIVER } else { NATURAL };
    let stretches = corners
        .windows(2)
        .map(|pair| draw_stretch(pair[0].1, pair[1].1, wander, chance))
        .collect();
    BorderLine { corners, stretches }
}

pub(super) fn draw_row(
    row: usize,
    below: &BorderLine,
    above: &BorderLine,
    chance: &mut ChaCha8Rng,
) -> Vec<Polygon<f64>> {
    let mut ends = vec![Corner::West];
    ends.extend((0..ROW_CUTS[row].len()).map(|cut| Corner::Cut { row, cut }));
    ends.push(Corner::East);
    let sides: Vec<Vec<Coord<f64>>> = ends
        .iter()
        .map(|end| {
            let wander = if chance.random_bool(0.5) {
                SURVEYED
            } else {
                NATURAL
            };
            draw_stretch(below.corner(*end), above.corner(*end), wander, chance)
        })
        .collect();
    ends.windows(2)
        .zip(sides.windows(2))
        .map(|(ends, sides)| {
            let mut ring = below.between(ends[0], ends[1]);
            ring.extend(&sides[1]);
            ring.extend(above.between(ends[0], ends[1]).iter().rev());
            ring.extend(sides[0].iter().rev());
            ring.dedup();
            Polygon::new(LineString::new(ring), vec![])
        })
        .collect()
}

impl BorderLine {
    fn place(&self, wanted: Corner) -> usize {
        self.corners
            .iter()
            .position(|(corner, _)| *corner == wanted)
            .expect("a row's ends are corners of the lines below and above it")
    }

    fn corner(&self, wanted: Corner) -> Coord<f64> {
        self.corners[self.place(wanted)].1
    }

    /// The border from one corner east to another.
    fn between(&self, west: Corner, east: Corner) -> Vec<Coord<f64>> {
        self.stretches[self.place(west)..self.place(east)].concat()
    }
}

/// A wandering line between two corners. Its strays are a function of the way along the straight
/// line and vanish at both ends, so it never crosses itself.
fn draw_stretch(
    from: Coord<f64>,
    to: Coord<f64>,
    wander: Wander,
    chance: &mut ChaCha8Rng,
) -> Vec<Coord<f64>> {
    let along = to - from;
    let length = along.x.hypot(along.y);
    let amplitude = wander.amplitude.min(length * 0.1);
    let waves: Vec<f64> = (0..4).map(|_| chance.random_range(-1.0..1.0)).collect();
    let steps = (length / wander.step).ceil().max(2.0) as usize;
    (0..=steps)
        .map(|step| match step {
            0 => from,
            _ if step == steps => to,
            _ => {
                let share = step as f64 / steps as f64;
                let turn = std::f64::consts::PI * share;
                let slow: f64 = waves
                    .iter()
                    .zip(1..)
                    .map(|(wave, number)| {
                        wave * (turn * f64::from(number)).sin() / f64::from(number)
                    })
                    .sum();
                let bend = (2.0 * turn * wander.bends).sin() * turn.sin();
                let stray = amplitude * (slow + bend);
                vertex(
                    from.x + along.x * share - along.y / length * stray,
                    from.y + along.y * share + along.x / length * stray,
                )
            }
        })
        .collect()
}

/// The county with a lake in its middle, which belongs to no county, and an island in the lake.
pub(super) fn with_lake(county: Polygon<f64>, chance: &mut ChaCha8Rng) -> MultiPolygon<f64> {
    let bounds = county.bounding_rect().expect("a county has corners");
    let middle = bounds.center();
    let mut shore = draw_shore(middle, 0.09, 24, chance);
    let island = draw_shore(middle, 0.03, 12, chance);
    // A hole runs clockwise (RFC 7946, section 3.1.6).
    shore.reverse();
    let (outside, _) = county.into_inner();
    MultiPolygon::new(vec![
        Polygon::new(outside, vec![LineString::new(shore)]),
        Polygon::new(LineString::new(island), vec![]),
    ])
}

/// A closed shore line around a point, counter-clockwise.
fn draw_shore(
    middle: Coord<f64>,
    radius: f64,
    corners: usize,
    chance: &mut ChaCha8Rng,
) -> Vec<Coord<f64>> {
    let mut shore: Vec<Coord<f64>> = (0..corners)
        .map(|corner| {
            let turn = std::f64::consts::TAU * corner as f64 / corners as f64;
            let reach = radius * chance.random_range(0.75..1.25);
            vertex(
                middle.x + reach * turn.cos(),
                middle.y + reach * 0.7 * turn.sin(),
            )
        })
        .collect();
    shore.push(shore[0]);
    shore
}

fn vertex(lon: f64, lat: f64) -> Coord<f64> {
    Coord {
        x: rounded(lon, 5),
        y: rounded(lat, 5),
    }
}
