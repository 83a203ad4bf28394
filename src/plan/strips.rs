//! Strips along the sides of a field in which the pressure is at or above the threshold: from the
//! field's outline and one distance a site, polygons and their area.
//!
//! Private to the field's owner. It is given the distances and computes none, and it knows no protocol. Where
//! an outline or a site does not say enough for an honest strip, it says why and draws none.
//!
//! The sites of a side share it: each place belongs to the nearest site along it. A strip is all that is
//! within the distance of its part of the side, measured inwards, and no deeper than half the
//! field's width, from that side to the one across, in the middle of the part. Holes are cut out of
//! the strips; their rims are taken for no side.

use geo::{Area, MapCoords, MultiPolygon, coord, unary_union};
use geojson::{Feature, FeatureCollection, Geometry, GeometryValue, JsonObject};
use serde_json::json;

pub(crate) use super::field_plane::OutlineFlaw;
use super::field_plane::lay_out;
pub(crate) use super::sides::NoStrip;
use super::sides::{Side, Sides};
use super::strip_shape::draw_strip;
use scouting::visit::record::Outline;

const M2_PER_HA: f64 = 10_000.0;

/// A site along the edge, with the distance that its pressure gives.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct SampledSite {
    /// Number of the site within the visit.
    pub site: u32,
    /// Longitude and latitude, degrees.
    pub point: Option<(f64, f64)>,
    /// The side as the scout wrote it: `north`, `N`, `south-west side`.
    pub side: Option<String>,
    /// Meters from the edge up to which the field is at or above its threshold; 0 for none.
    pub distance_m: f64,
}

/// The strip of one site along one side.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Strip {
    /// Number of the site within the visit.
    pub site: u32,
    /// The way that the side faces: `north`, `north-east` …
    pub side: &'static str,
    /// Depth in meters, after the clip to half the field's width.
    pub distance_m: f64,
    /// Hectares of this strip by itself.
    pub area_ha: f64,
    /// The strip, in degrees.
    pub shape: MultiPolygon<f64>,
}

/// All strips of a field.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Strips {
    /// In the order of the sides round the field, counter-clockwise.
    pub strips: Vec<Strip>,
    /// Hectares that are in any strip: corners that are in two count once.
    pub area_ha: f64,
    /// Hectares of the outline without its holes.
    pub outline_area_ha: f64,
    /// Meters of the outline, holes aside, that no site represents: their strips, if any, are not known.
    pub unsampled_m: f64,
    /// Sites that have a distance but, on a side at least, no strip, by number, and why.
    pub without_strip: Vec<(u32, NoStrip)>,
}

/// A site on a side; `position` is meters from the side's first corner, if known.
#[derive(Clone, Copy)]
struct Placed<'a> {
    site: &'a SampledSite,
    position: Option<f64>,
}

/// Draws the strips of a field's sites.
///
/// # Errors
/// An [`OutlineFlaw`] if the outline does not bear measuring.
pub(crate) fn draw_strips(outline: &Outline, sites: &[SampledSite]) -> Result<Strips, OutlineFlaw> {
    let (plane, field) = lay_out(outline)?;
    let sides = Sides::of(&field)?;
    let mut unsampled_m = 0.0;
    let mut without_strip = Vec::new();
    let mut on_side: Vec<Vec<Placed>> = vec![Vec::new(); sides.sides.len()];
    for site in sites {
        let point = site
            .point
            .map(|(lon, lat)| plane.meters(coord! { x: lon, y: lat }));
        match sides.place(point, site.side.as_deref()) {
            Ok(places) => {
                for (side, position) in places {
                    on_side[side].push(Placed { site, position });
                }
            }
            Err(reason) => without_strip.push((site, reason)),
        }
    }
    let mut strips = Vec::new();
    let mut shapes = Vec::new();
    for (side, placed) in sides.sides.iter().zip(on_side) {
        let Some(positions) = positions_on(side, &placed) else {
            without_strip.extend(placed.iter().map(|on| (on.site, NoStrip::Undivided)));
            unsampled_m += side.length();
            continue;
        };
        if positions.is_empty() {
            unsampled_m += side.length();
        }
        for (Placed { site, .. }, (from, to)) in placed.iter().zip(side.divide(&positions)) {
            let half_width = side.width_at((from + to) / 2.0, &field) / 2.0;
            let distance_m = site.distance_m.min(half_width);
            let shape = draw_strip(side, from, to, distance_m, &field);
            if shape.0.is_empty() {
                continue;
            }
            strips.push(Strip {
                site: site.site,
                side: side.facing,
                distance_m,
                area_ha: shape.unsigned_area() / M2_PER_HA,
                shape: shape.map_coords(|position| plane.degrees(position)),
            });
            shapes.extend(shape);
        }
    }
    // A site below its threshold has no strip for the best of reasons.
    let mut without_strip: Vec<(u32, NoStrip)> = without_strip
        .into_iter()
        .filter(|(site, _)| site.distance_m > 0.0)
        .map(|(site, reason)| (site.site, reason))
        .collect();
    without_strip.sort_by_key(|(site, _)| *site);
    without_strip.dedup();
    Ok(Strips {
        strips,
        area_ha: unary_union(&shapes).unsigned_area() / M2_PER_HA,
        outline_area_ha: field.unsigned_area() / M2_PER_HA,
        unsampled_m,
        without_strip,
    })
}

/// Where the sites of a side are along it. With one distance for all it does not matter which part is
/// whose, and they are put in a row; otherwise it is not known unless each has a point.
fn positions_on(side: &Side, placed: &[Placed]) -> Option<Vec<f64>> {
    let known: Option<Vec<f64>> = placed.iter().map(|on| on.position).collect();
    let first = placed.first().map(|on| on.site.distance_m);
    let one_distance = placed.iter().all(|on| Some(on.site.distance_m) == first);
    let in_a_row = (0..placed.len())
        .map(|at| side.length() * (at as f64 + 0.5) / placed.len() as f64)
        .collect();
    known.or(one_distance.then_some(in_a_row))
}

impl Strips {
    /// The strips as a GeoJSON `FeatureCollection` (RFC 7946), coordinates to seven decimals; `caution` is the
    /// sentence that must go with whatever bears on treatment.
    pub(crate) fn to_geojson(&self, caution: &str) -> FeatureCollection {
        let features = self.strips.iter().map(|strip| {
            let mut properties = JsonObject::new();
            properties.insert("site".to_owned(), json!(strip.site));
            properties.insert("side".to_owned(), json!(strip.side));
            properties.insert("distance_m".to_owned(), json!(strip.distance_m));
            properties.insert("area_ha".to_owned(), json!(strip.area_ha));
            let rounded = |degrees: f64| (degrees * 1e7).round() / 1e7;
            let shape = strip.shape.map_coords(|position| {
                coord! { x: rounded(position.x), y: rounded(position.y) }
            });
            Feature {
                geometry: Some(Geometry::new(GeometryValue::from(&shape))),
                properties: Some(properties),
                ..Feature::default()
            }
        });
        let mut collection = FeatureCollection::new(features);
        let mut members = JsonObject::new();
        members.insert("caution".to_owned(), json!(caution));
        members.insert("area_ha".to_owned(), json!(self.area_ha));
        members.insert("outline_area_ha".to_owned(), json!(self.outline_area_ha));
        members.insert("unsampled_m".to_owned(), json!(self.unsampled_m));
        collection.foreign_members = Some(members);
        collection
    }
}

#[cfg(test)]
mod tests {
    use std::f64::consts::PI;

    use geo::{BoundingRect, Contains, Distance, Euclidean, LineString, Point, Polygon};
    use proptest::prelude::*;

    use super::*;
    use crate::plan::field_plane::Plane;

    const CAUTION: &str = "a caution";
    /// J. Econ. Entomol. 101(3):969-975 (2008): the distance at pressure 2, recomputed.
    const AT_PRESSURE_2_M: f64 = 38.725_1;
    const SQUARE: [(f64, f64); 4] = [(0.0, 0.0), (800.0, 0.0), (800.0, 800.0), (0.0, 800.0)];

    fn plane() -> Plane {
        Plane::at(coord! { x: -100.1, y: 44.1 })
    }

    /// An outline in degrees from rings in meters.
    fn outline(rings: &[&[(f64, f64)]]) -> Outline {
        let degrees = |&(x, y): &(f64, f64)| {
            let position = plane().degrees(coord! { x: x, y: y });
            [position.x, position.y]
        };
        Outline {
            kind: "Polygon".to_owned(),
            coordinates: rings
                .iter()
                .map(|ring| ring.iter().map(degrees).collect())
                .collect(),
        }
    }

    fn named(site: u32, side: &str, distance_m: f64) -> SampledSite {
        SampledSite {
            site,
            point: None,
            side: Some(side.to_owned()),
            distance_m,
        }
    }

    fn at(site: u32, (x, y): (f64, f64), distance_m: f64) -> SampledSite {
        let position = plane().degrees(coord! { x: x, y: y });
        SampledSite {
            site,
            point: Some((position.x, position.y)),
            side: None,
            distance_m,
        }
    }

    fn on_all_sides(distance_m: f64) -> Vec<SampledSite> {
        let sides = ["north", "east", "south", "west"];
        let sites = (1..).zip(sides);
        sites
            .map(|(site, side)| named(site, side, distance_m))
            .collect()
    }

    fn draw(rings: &[&[(f64, f64)]], sites: &[SampledSite]) -> Strips {
        draw_strips(&outline(rings), sites).expect("a sound outline")
    }

    /// Square meters, to a hundred-thousandth: the plane at the outline's centroid is not quite that of
    /// the test.
    #[track_caller]
    fn assert_m2(found_ha: f64, expected_m2: f64) {
        let share = found_ha * M2_PER_HA / expected_m2;
        assert!(
            (share - 1.0).abs() < 1e-4,
            "{found_ha} ha, expected {expected_m2} m2"
        );
    }

    /// Facts of the relation: 1 - (1 - 2 · 38.7251 / 800)² = 0.18425.
    #[test]
    fn a_square_at_pressure_2_on_all_sides_has_the_recomputed_share() {
        let drawn = draw(&[&SQUARE], &on_all_sides(AT_PRESSURE_2_M));
        assert_eq!(drawn.strips.len(), 4);
        assert_m2(drawn.outline_area_ha, 640_000.0);
        let share = drawn.area_ha / drawn.outline_area_ha;
        assert!((share - 0.184_25).abs() < 1e-5, "{share}");
        // By themselves the strips count the corners twice.
        for strip in &drawn.strips {
            assert_m2(strip.area_ha, 800.0 * AT_PRESSURE_2_M);
        }
    }

    #[test]
    fn sites_of_one_side_share_it() {
        let sites = [
            at(1, (200.0, 794.0), 30.0),
            at(2, (600.0, 794.0), 0.0),
            at(3, (794.0, 400.0), 20.0),
        ];
        let drawn = draw(&[&SQUARE], &sites);
        let [north, east] = [1, 3].map(|site| {
            let strip = drawn.strips.iter().find(|strip| strip.site == site);
            strip.expect("the site has a strip")
        });
        assert_eq!((north.side, east.side), ("north", "east"));
        assert_m2(north.area_ha, 400.0 * 30.0);
        assert_m2(east.area_ha, 800.0 * 20.0);
        assert_m2(drawn.area_ha, 400.0 * 30.0 + 800.0 * 20.0);
        assert!(drawn.without_strip.is_empty(), "below threshold is no lack");
        assert!((drawn.unsampled_m - 1600.0).abs() < 0.1, "south and west");
        let bounds = north.shape.bounding_rect().expect("it has a shape");
        let middle = plane().degrees(coord! { x: 400.0, y: 785.0 });
        assert!(bounds.max().x < middle.x + 1e-6 && bounds.min().y < middle.y);
    }

    #[test]
    fn no_strip_is_deeper_than_half_the_field() {
        let narrow = [(0.0, 0.0), (800.0, 0.0), (800.0, 50.0), (0.0, 50.0)];
        let drawn = draw(&[&narrow], &on_all_sides(AT_PRESSURE_2_M));
        assert_m2(drawn.area_ha, 40_000.0);
        for strip in &drawn.strips {
            let long = ["north", "south"].contains(&strip.side);
            let expected = if long { 25.0 } else { AT_PRESSURE_2_M };
            assert!((strip.distance_m - expected).abs() < 1e-3, "{strip:?}");
        }
    }

    /// By hand: five corners where two planks overlap, and one bend with a quarter of a disc.
    #[test]
    fn a_bend_inwards_is_filled() {
        let bent = [
            (0.0, 0.0),
            (800.0, 0.0),
            (800.0, 400.0),
            (400.0, 400.0),
            (400.0, 800.0),
            (0.0, 800.0),
        ];
        let drawn = draw(&[&bent], &on_all_sides(30.0));
        assert_eq!(drawn.strips.len(), 6, "two sides face north, two east");
        let expected = 3200.0 * 30.0 + (PI / 4.0 - 5.0) * 900.0;
        let share = drawn.area_ha * M2_PER_HA / expected;
        assert!((share - 1.0).abs() < 2e-4, "{share}");
    }

    #[test]
    fn a_strip_does_not_leap_over_a_notch() {
        // A lane of 5 m goes in from the east and turns north; the field beyond it is joined to the strip
        // farther north only.
        let notched = [
            (0.0, 0.0),
            (800.0, 0.0),
            (800.0, 20.0),
            (645.0, 20.0),
            (645.0, 200.0),
            (650.0, 200.0),
            (650.0, 25.0),
            (800.0, 25.0),
            (800.0, 800.0),
            (0.0, 800.0),
        ];
        let drawn = draw(&[&notched], &[at(1, (400.0, 6.0), 100.0)]);
        assert_eq!(drawn.strips[0].distance_m, 100.0);
        assert_m2(drawn.area_ha, 645.0 * 100.0 + 155.0 * 20.0);
        // Where the lane is across the middle of the part, half of the way to it is the depth.
        let above = draw(
            &[&notched],
            &[at(1, (700.0, 4.0), 100.0), at(2, (400.0, 6.0), 0.0)],
        );
        assert!((above.strips[0].distance_m - 10.0).abs() < 1e-3);
    }

    #[test]
    fn a_circle_has_its_ring_and_a_hole_is_cut_out() {
        let circle: Vec<(f64, f64)> = (0..720)
            .map(|step| (f64::from(step) * PI / 360.0).sin_cos())
            .map(|(sine, cosine)| (400.0 * cosine, 400.0 * sine))
            .collect();
        let drawn = draw(&[&circle], &on_all_sides(50.0));
        let ring = PI * (400.0_f64.powi(2) - 350.0_f64.powi(2));
        assert!(
            (drawn.area_ha * M2_PER_HA / ring - 1.0).abs() < 1e-3,
            "{drawn:?}"
        );

        let pond = [(100.0, 10.0), (100.0, 30.0), (200.0, 30.0), (200.0, 10.0)];
        let drawn = draw(&[&SQUARE, &pond], &[named(1, "south", 50.0)]);
        assert_m2(drawn.area_ha, 800.0 * 50.0 - 2000.0);
        assert_m2(drawn.outline_area_ha, 640_000.0 - 2000.0);
    }

    #[test]
    fn a_site_without_a_strip_has_its_reason() {
        let mut lost = named(4, "north", 10.0);
        lost.side = None;
        let sites = [
            named(1, "south", 10.0),
            named(2, "south", 20.0),
            named(3, "north-east", 10.0),
            lost,
            at(5, (400.0, 400.0), 10.0),
            named(6, "west", 15.0),
            named(7, "west", 15.0),
            named(8, "nowhere", 0.0),
        ];
        let drawn = draw(&[&SQUARE], &sites);
        let expected = [
            (1, NoStrip::Undivided),
            (2, NoStrip::Undivided),
            (3, NoStrip::NoSuchSide),
            (4, NoStrip::NoPlace),
            (5, NoStrip::FarFromSide),
        ];
        assert_eq!(drawn.without_strip, expected);
        assert!((drawn.unsampled_m - 2400.0).abs() < 0.1, "all but the west");
        // Two sites of one distance represent the whole side between them.
        assert_m2(drawn.area_ha, 800.0 * 15.0);
        let crossed = [SQUARE[0], SQUARE[2], SQUARE[1], (0.0, 900.0)];
        let refused = draw_strips(&outline(&[&crossed]), &sites);
        assert_eq!(refused, Err(OutlineFlaw::CrossesItself));
    }

    #[test]
    fn the_geojson_has_a_feature_a_strip_and_the_caution() {
        let drawn = draw(&[&SQUARE], &on_all_sides(AT_PRESSURE_2_M));
        let written = drawn.to_geojson(CAUTION).to_string();
        let read: serde_json::Value = serde_json::from_str(&written).expect("JSON");
        assert_eq!(read["type"], "FeatureCollection");
        assert_eq!(read["caution"], CAUTION);
        assert_eq!(read["area_ha"], drawn.area_ha);
        let features = read["features"].as_array().expect("features");
        assert_eq!(features.len(), 4);
        let properties = features[0]["properties"].as_object().expect("properties");
        let names: Vec<&str> = properties.keys().map(String::as_str).collect();
        assert_eq!(names, ["area_ha", "distance_m", "side", "site"]);
        assert_eq!(features[0]["geometry"]["type"], "MultiPolygon");
        // RFC 7946, section 3.1.6: the outside counter-clockwise.
        for strip in &drawn.strips {
            let outside = strip.shape.0[0].exterior().clone();
            assert!(Polygon::new(outside, Vec::new()).signed_area() > 0.0);
        }
    }

    proptest! {
        /// Stars of any shape, with sites anywhere: no panic, and no more strip than field.
        #[test]
        fn strips_lie_in_the_field(
            rays in prop::collection::vec(5.0..900.0_f64, 3..40),
            places in prop::collection::vec((-900.0..900.0_f64, -900.0..900.0_f64, 0.0..300.0_f64), 0..8),
        ) {
            let star: Vec<(f64, f64)> = (0..)
                .zip(&rays)
                .map(|(ray, &meters)| {
                    let angle = 2.0 * PI * f64::from(ray) / rays.len() as f64;
                    (meters * angle.cos(), meters * angle.sin())
                })
                .collect();
            let sites: Vec<SampledSite> = (1..)
                .zip(&places)
                .map(|(site, &(x, y, meters))| at(site, (x, y), meters))
                .chain([named(99, "north", 261.0)])
                .collect();
            if let Ok(drawn) = draw_strips(&outline(&[&star]), &sites) {
                prop_assert!(drawn.area_ha <= drawn.outline_area_ha * (1.0 + 1e-6));
                let sum: f64 = drawn.strips.iter().map(|strip| strip.area_ha).sum();
                prop_assert!(drawn.area_ha <= sum + 1e-6);
                let field = outline(&[&star]).coordinates.concat();
                let field: LineString = field.iter().map(|&[x, y]| coord! { x: x, y: y }).collect();
                let field = Polygon::new(field, Vec::new());
                for corner in drawn.strips.iter().flat_map(|strip| &strip.shape.0[0].exterior().0) {
                    let inside = field.contains(corner);
                    prop_assert!(inside || Euclidean.distance(&Point(*corner), &field) < 1e-7);
                }
            }
        }
    }
}
