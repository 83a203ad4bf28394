//! The fictional region: sixteen invented counties with invented borders.
//!
//! It draws shapes from a seed and traces no real border. Rows of counties are on wandering lines;
//! one of the lines is a river, one county holds a lake with an island. Neighbours share their
//! border vertex by vertex, because each stretch of border is drawn once and used from both sides.

use geo::{BoundingRect, Coord, LineString, MultiPolygon, Polygon};
use rand::{Rng, SeedableRng};
use rand_chacha::ChaCha8Rng;
use serde_json::json;

use super::chance::rounded;

/// Said on the face of everything that is made from this data.
pub const NOTICE: &str = "Invented data for demonstration: no real place, farm, person or count.";
/// What the region is called.
pub const TITLE: &str = "the Sallow Plain (invented)";
/// The property of a GeoJSON feature that holds the county's id.
pub const ID_PROPERTY: &str = "county_id";
/// The property of a GeoJSON feature that holds the county's name.
pub const NAME_PROPERTY: &str = "county_name";
/// The property of a GeoJSON feature that holds the county's district.
pub const DISTRICT_PROPERTY: &str = "district";

/// Longitudes of the region's western and eastern edge, degrees.
const WEST_EAST: (f64, f64) = (-101.5, -98.5);
/// Latitude of the region's southern edge, degrees.
const SOUTH: f64 = 44.0;
/// Height of a row of counties, degrees.
const ROW_HEIGHT: f64 = 0.625;
/// Where the counties of each row end, as shares of the way east; rows from south to north. No two
/// neighbouring rows end at the same place, so that the map is no chequerboard.
const ROW_CUTS: [&[f64]; 4] = [
    &[0.27, 0.52, 0.74],
    &[0.36, 0.63],
    &[0.17, 0.43, 0.56, 0.80],
    &[0.25, 0.50, 0.70],
];
/// The border line, counted from the south, that is a river.
const RIVER_LINE: usize = 2;
/// The row and the place in it of the county with the lake.
const LAKE_COUNTY: (usize, usize) = (1, 1);
/// Names from the north-west to the south-east.
const NAMES: [&str; 16] = [
    "Larkmoor",
    "Thistlemark",
    "Emberlea",
    "Quillfen",
    "Oatenshaw",
    "Ferncairn",
    "Marrowgate",
    "Skylthe",
    "Dunmallow",
    "Brindlecote",
    "Harrowmere",
    "Tallowby",
    "Windlesedge",
    "Copperwick",
    "Ashwillow",
    "Plovermead",
];

/// The fictional region.
#[derive(Debug, Clone, PartialEq)]
pub struct Landscape {
    /// The seed that it was drawn from.
    pub seed: u64,
    /// The counties, from the north-west to the south-east.
    pub counties: Vec<InventedCounty>,
}

/// A county that does not exist.
#[derive(Debug, Clone, PartialEq)]
pub struct InventedCounty {
    /// `X01` to `X16`.
    pub county_id: String,
    /// A name that says that it is invented.
    pub county_name: String,
    /// The district that it is in.
    pub district: &'static str,
    /// Its shape: longitude and latitude in degrees, five decimals, outer rings counter-clockwise.
    pub shape: MultiPolygon<f64>,
}

/// The districts, from south to north.
const DISTRICTS: [&str; 2] = ["the south (invented)", "the north (invented)"];

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
struct BorderLine {
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

impl Landscape {
    /// Draws the region; the same seed gives the same region.
    pub fn draw(seed: u64) -> Self {
        let mut chance = ChaCha8Rng::seed_from_u64(seed);
        let lines: Vec<BorderLine> = (0..=ROW_CUTS.len())
            .map(|line| draw_line(line, &mut chance))
            .collect();
        let rows: Vec<Vec<Polygon<f64>>> = (0..ROW_CUTS.len())
            .map(|row| draw_row(row, &lines[row], &lines[row + 1], &mut chance))
            .collect();
        let mut counties = Vec::with_capacity(NAMES.len());
        for (row, polygons) in rows.into_iter().enumerate().rev() {
            for (place, polygon) in polygons.into_iter().enumerate() {
                let shape = if (row, place) == LAKE_COUNTY {
                    with_lake(polygon, &mut chance)
                } else {
                    MultiPolygon::new(vec![polygon])
                };
                counties.push(InventedCounty {
                    county_id: format!("X{:02}", counties.len() + 1),
                    county_name: format!("{} (invented)", NAMES[counties.len()]),
                    // Two rows of counties each.
                    district: DISTRICTS[row / 2],
                    shape,
                });
            }
        }
        Landscape { seed, counties }
    }

    /// Ids and shapes, as [`super::stream::SampleLines`] takes them.
    pub fn shapes(&self) -> Vec<(String, MultiPolygon<f64>)> {
        self.counties
            .iter()
            .map(|county| (county.county_id.clone(), county.shape.clone()))
            .collect()
    }

    /// The region as GeoJSON (RFC 7946), a county a line, marked as invented in foreign members.
    pub fn geojson(&self) -> String {
        let features: Vec<String> = self.counties.iter().map(feature).collect();
        let shapes: Vec<Polygon<f64>> = self
            .counties
            .iter()
            .flat_map(|county| county.shape.0.clone())
            .collect();
        let bounds = MultiPolygon::new(shapes)
            .bounding_rect()
            .expect("the region has sixteen counties");
        format!(
            "{{\"type\":\"FeatureCollection\",\n\"title\":{},\n\"invented\":{},\n\"source\":{},\n\"vintage\":{},\n\"bbox\":{},\n\"features\":[\n{}\n]}}\n",
            json!(TITLE),
            json!(NOTICE),
            json!(format!(
                "Drawn by the sample generator of bractline from seed {}",
                self.seed
            )),
            json!("none: an invented landscape has no year"),
            json!([
                bounds.min().x,
                bounds.min().y,
                bounds.max().x,
                bounds.max().y
            ]),
            features.join(",\n")
        )
    }
}

fn feature(county: &InventedCounty) -> String {
    let polygons: Vec<Vec<Vec<[f64; 2]>>> = county
        .shape
        .iter()
        .map(|polygon| {
            std::iter::once(polygon.exterior())
                .chain(polygon.interiors())
                .map(|ring| ring.coords().map(|corner| [corner.x, corner.y]).collect())
                .collect()
        })
        .collect();
    let geometry = match polygons.as_slice() {
        [rings] => json!({"type": "Polygon", "coordinates": rings}),
        _ => json!({"type": "MultiPolygon", "coordinates": polygons}),
    };
    let properties = json!({
        ID_PROPERTY: county.county_id,
        NAME_PROPERTY: county.county_name,
        DISTRICT_PROPERTY: county.district,
    });
    format!(
        "{{\"type\":\"Feature\",\"id\":{},\"properties\":{properties},\"geometry\":{geometry}}}",
        json!(county.county_id)
    )
}

fn draw_line(line: usize, chance: &mut ChaCha8Rng) -> BorderLine {
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

fn draw_row(
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
fn with_lake(county: Polygon<f64>, chance: &mut ChaCha8Rng) -> MultiPolygon<f64> {
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

#[cfg(test)]
mod tests {
    use std::collections::HashMap;

    use geo::orient::Direction;
    use geo::{Area, BooleanOps, Orient, Validation};

    use super::*;

    const SEEDS: std::ops::Range<u64> = 0..12;

    #[test]
    fn counties_say_on_their_face_that_they_are_invented() {
        let landscape = Landscape::draw(1);
        assert_eq!(landscape.counties.len(), 16);
        for (county, number) in landscape.counties.iter().zip(1..) {
            assert_eq!(county.county_id, format!("X{number:02}"));
            assert!(county.county_name.ends_with(" (invented)"));
        }
    }

    #[test]
    fn the_same_seed_draws_the_same_region() {
        assert_eq!(Landscape::draw(5).geojson(), Landscape::draw(5).geojson());
        assert_ne!(Landscape::draw(5).geojson(), Landscape::draw(6).geojson());
    }

    #[test]
    fn shapes_are_valid_closed_and_follow_the_right_hand_rule() {
        for seed in SEEDS {
            for county in Landscape::draw(seed).counties {
                assert!(county.shape.is_valid(), "seed {seed} {}", county.county_id);
                let wound = county.shape.orient(Direction::Default);
                assert_eq!(wound, county.shape, "seed {seed} {}", county.county_id);
                for polygon in &county.shape {
                    assert!(polygon.exterior().is_closed());
                }
            }
        }
    }

    /// Edges of the counties' rings by their ends in hundred-thousandths of a degree, exact.
    fn edges_of(landscape: &Landscape) -> HashMap<[i64; 4], u32> {
        let key = |degrees: f64| (degrees * 1e5).round() as i64;
        let mut edges = HashMap::new();
        for polygon in landscape.counties.iter().flat_map(|county| &county.shape) {
            for ring in std::iter::once(polygon.exterior()).chain(polygon.interiors()) {
                for edge in ring.lines() {
                    let (from, to) = (edge.start, edge.end);
                    let ends = [key(from.x), key(from.y), key(to.x), key(to.y)];
                    *edges.entry(ends).or_default() += 1;
                }
            }
        }
        edges
    }

    /// Closed walks along edges of which no two begin at the same corner.
    fn walks(mut edges: HashMap<[i64; 2], [i64; 2]>) -> Vec<LineString<f64>> {
        let degrees = |corner: [i64; 2]| Coord {
            x: corner[0] as f64 / 1e5,
            y: corner[1] as f64 / 1e5,
        };
        let mut walks = Vec::new();
        while let Some(first) = edges.keys().next().copied() {
            let mut walk = vec![degrees(first)];
            let mut at = first;
            while let Some(next) = edges.remove(&at) {
                walk.push(degrees(next));
                at = next;
            }
            assert_eq!(at, first, "a walk comes back to its beginning");
            walks.push(LineString::new(walk));
        }
        walks
    }

    /// The exact proof: edges that two counties share run both ways and cancel, so the counties'
    /// winding numbers add up to that of what remains. If that is one simple ring, with the two
    /// simple shores of the lake, every point of the region is in exactly one county.
    #[test]
    fn counties_share_borders_vertex_by_vertex_without_overlap_or_gap() {
        for seed in SEEDS {
            let edges = edges_of(&Landscape::draw(seed));
            assert!(edges.values().all(|uses| *uses == 1), "no edge runs twice");
            let is_shared = |&&[a, b, c, d]: &&[i64; 4]| edges.contains_key(&[c, d, a, b]);
            let (shared, outer): (Vec<&[i64; 4]>, Vec<&[i64; 4]>) =
                edges.keys().partition(is_shared);
            assert!(shared.len() > 500, "{} shared edges", shared.len());
            let starts: HashMap<[i64; 2], [i64; 2]> = outer
                .iter()
                .map(|&&[a, b, c, d]| ([a, b], [c, d]))
                .collect();
            assert_eq!(starts.len(), outer.len(), "one outline edge a corner");
            let mut areas: Vec<f64> = walks(starts)
                .into_iter()
                .map(|walk| {
                    let ring = Polygon::new(walk, vec![]);
                    assert!(ring.is_valid(), "seed {seed}");
                    ring.signed_area()
                })
                .collect();
            areas.sort_by(f64::total_cmp);
            // Clockwise the lake's shore, then counter-clockwise the island and the region.
            assert!(
                matches!(areas.as_slice(), [lake, island, region]
                    if *lake < 0.0 && *island > 0.0 && *region > 7.0),
                "seed {seed}: {areas:?}"
            );
        }
    }

    #[test]
    fn the_counties_areas_add_up_to_the_area_of_their_union() {
        for seed in SEEDS {
            let shapes = Landscape::draw(seed).shapes();
            let areas: f64 = shapes.iter().map(|(_, shape)| shape.unsigned_area()).sum();
            let whole = shapes
                .iter()
                .skip(1)
                .fold(shapes[0].1.clone(), |whole, (_, shape)| whole.union(shape));
            // The union snaps corners to a grid of about 3e-9 degrees along some 30 degrees of
            // border, which costs it some area; the exact proof is above.
            let missing = areas - whole.unsigned_area();
            assert!(missing.abs() < 1e-7, "seed {seed}: {missing:e}");
        }
    }

    #[test]
    fn the_geojson_holds_the_shapes_with_five_decimals() {
        let landscape = Landscape::draw(2026);
        let text = landscape.geojson();
        let json: serde_json::Value = serde_json::from_str(&text).expect("JSON");
        assert_eq!(json["invented"], NOTICE);
        assert!(json["source"].is_string() && json["vintage"].is_string());
        let read: geojson::FeatureCollection = text
            .parse::<geojson::GeoJson>()
            .and_then(TryFrom::try_from)
            .expect("a FeatureCollection");
        for (feature, county) in read.features.into_iter().zip(&landscape.counties) {
            let property = |name| feature.property(name).and_then(|value| value.as_str());
            assert_eq!(property(ID_PROPERTY), Some(county.county_id.as_str()));
            assert_eq!(property(NAME_PROPERTY), Some(county.county_name.as_str()));
            let geometry = feature.geometry.expect("a county has a shape");
            let shape = match geo::Geometry::<f64>::try_from(geometry).expect("a shape") {
                geo::Geometry::Polygon(polygon) => MultiPolygon::new(vec![polygon]),
                geo::Geometry::MultiPolygon(polygons) => polygons,
                other => panic!("not a county's shape: {other:?}"),
            };
            assert_eq!(shape, county.shape);
        }
        let decimals = text
            .split(|c: char| !(c.is_ascii_digit() || c == '.'))
            .filter_map(|number| number.split_once('.'))
            .map(|(_, decimals)| decimals.len())
            .max();
        assert_eq!(decimals, Some(5));
    }
}
