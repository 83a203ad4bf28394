//! The fictional region: sixteen invented counties with invented borders.
//!
//! Its shapes are drawn from a seed (`borders.rs`) and trace no real border.

use geo::{BoundingRect, MultiPolygon, Polygon};
use rand::SeedableRng;
use rand_chacha::ChaCha8Rng;
use serde_json::json;

use super::borders::{BorderLine, ROW_CUTS, draw_line, draw_row, with_lake};

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

#[cfg(test)]
mod tests {
    use std::collections::HashMap;

    use geo::orient::Direction;
    use geo::{Area, BooleanOps, Coord, LineString, Orient, Validation};

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
