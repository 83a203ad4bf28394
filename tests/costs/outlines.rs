//! Outlines of very many vertices, and outlines that are no area.

use std::collections::BTreeSet;
use std::path::Path;
use std::time::{Duration, Instant};

use scouting::region::Region;
use serde_json::json;

use crate::support::issuing::visits;
use crate::support::{Run, TestWorkspace, bractline, lines};

/// Half of the vertices of the great outlines below lie on the border that both counties have.
const BORDER_VERTICES: usize = 150_000;

/// Two counties on both sides of a wavy border, and the border's vertices.
fn two_counties(border_vertices: usize) -> String {
    let border: Vec<[f64; 2]> = (0..=border_vertices)
        .map(|step| {
            let part = step as f64 / border_vertices as f64;
            // Waves within waves, of 3 km down to some meters.
            let waves = 0.03 * (part * 40.0).sin() + 0.002 * (part * 4_000.0).sin();
            [
                -99.0 + waves + 0.000_05 * (part * 60_000.0).sin(),
                44.0 + part,
            ]
        })
        .collect();
    let west = border
        .iter()
        .copied()
        .chain([[-100.0, 45.0], [-100.0, 44.0]]);
    let east = [[-98.0, 44.0], [-98.0, 45.0]]
        .into_iter()
        .chain(border.iter().rev().copied());
    let county = |id: &str, ring: Vec<[f64; 2]>| {
        let ring: Vec<[f64; 2]> = ring.iter().copied().chain(ring.first().copied()).collect();
        json!({"type": "Feature", "properties": {"id": id, "name": format!("County {id}")},
            "geometry": {"type": "Polygon", "coordinates": [ring]}})
    };
    let features = [county("e", east.collect()), county("w", west.collect())];
    json!({"type": "FeatureCollection", "features": features}).to_string()
}

/// Makes a workspace of a boundary file.
fn made(workspace: &str, file: &Path) -> Run {
    let file = file.display().to_string();
    let labels = ["--id-property", "id", "--name-property", "name"];
    bractline(&[&["init", workspace, "--region", &file], labels.as_slice()].concat())
}

fn region_of(text: &str) -> Result<Region, scouting::failure::Failure> {
    Region::from_text(text, "outlines.geojson", "id", "name")
}

#[test]
fn outlines_of_very_many_vertices_are_read_counted_drawn_and_keep_their_common_border() {
    let workspace = TestWorkspace::empty();
    let text = two_counties(BORDER_VERTICES);
    let file = workspace.write("outlines.geojson", &text);
    let path = workspace.path().display().to_string();
    let begun = Instant::now();
    made(&path, &file).expect_code(0);
    let region = region_of(&text).expect("two counties");
    let records: Vec<_> = ["e", "w"]
        .into_iter()
        .flat_map(|county| visits(&region, county, 4, "2026-07-21", 2))
        .collect();
    let account = workspace.load_text("visits.ndjson", &lines(&records));
    assert_eq!(account["accepted"], 8, "{account:#}");
    workspace
        .run(&["alert", "--week", "2026-W30"])
        .expect_code(0);
    let out = workspace.beside("figures");
    workspace
        .run(&["rollup", "--out", &out.display().to_string()])
        .expect_code(0);
    // Looking whether these outlines are valid took the square of their vertices: more than half an hour each.
    assert!(
        begun.elapsed() < Duration::from_secs(500),
        "{:?}",
        begun.elapsed()
    );
    let map = std::fs::read(
        workspace
            .path()
            .join("alerts/2026-W30/bsm-eggs/county_week.geojson"),
    )
    .expect("the map");
    assert!(map.len() < 20 << 20, "{} bytes", map.len());
    let map: serde_json::Value = serde_json::from_slice(&map).expect("JSON");
    assert_eq!(map["features"].as_array().map(Vec::len), Some(2));
    let (east, west) = (rings_of(&map, 0), rings_of(&map, 1));
    let border = |rings: &[Vec<[f64; 2]>]| -> BTreeSet<String> {
        let positions = rings
            .iter()
            .flatten()
            .filter(|[x, y]| (-99.5..-98.5).contains(x) && *y > 44.001 && *y < 44.999);
        positions.map(|[x, y]| format!("{x} {y}")).collect()
    };
    let (of_east, of_west) = (border(&east), border(&west));
    assert!(of_east.len() > 1_000, "{}", of_east.len());
    // Where the rounded border touches itself, a vertex in the middle of a straight piece can be left out on one side.
    let other = of_east.symmetric_difference(&of_west).count();
    assert!(other * 100 <= of_east.len(), "{other} of {}", of_east.len());
    // So there is nothing between the counties: together they have the ground of the rectangle, 2 square degrees.
    let ground: f64 = east.iter().chain(&west).map(|ring| signed_area(ring)).sum();
    assert!((ground - 2.0).abs() < 1e-6, "{ground}");
}

/// Every ring of a feature's outline.
fn rings_of(map: &serde_json::Value, feature: usize) -> Vec<Vec<[f64; 2]>> {
    let geometry = &map["features"][feature]["geometry"];
    let coordinates = geometry["coordinates"].clone();
    let polygons: Vec<Vec<Vec<[f64; 2]>>> = match geometry["type"].as_str() {
        Some("Polygon") => vec![serde_json::from_value(coordinates).expect("a polygon")],
        _ => serde_json::from_value(coordinates).expect("polygons"),
    };
    polygons.into_iter().flatten().collect()
}

/// The area of a closed ring in square degrees; of a hole it is negative.
fn signed_area(ring: &[[f64; 2]]) -> f64 {
    let [x0, y0] = ring[0];
    let cross = |[one, other]: &[[f64; 2]; 2]| {
        (one[0] - x0) * (other[1] - y0) - (other[0] - x0) * (one[1] - y0)
    };
    ring.array_windows().map(cross).sum::<f64>() / 2.0
}

fn one_county(ring: &[[f64; 2]]) -> String {
    let ring: Vec<[f64; 2]> = ring.iter().copied().chain(ring.first().copied()).collect();
    json!({"type": "FeatureCollection", "features": [{"type": "Feature",
        "properties": {"id": "s", "name": "Star"},
        "geometry": {"type": "Polygon", "coordinates": [ring]}}]})
    .to_string()
}

/// A star of so many points, drawn through its middle.
fn star(points: usize) -> Vec<[f64; 2]> {
    let step = points / 2;
    let corner = |turn: usize| {
        let angle = std::f64::consts::TAU * ((turn * step) % points) as f64 / points as f64;
        [-100.0 + angle.cos(), 44.0 + angle.sin()]
    };
    (0..points).map(corner).collect()
}

#[test]
fn an_outline_that_encloses_ground_twice_is_refused_and_a_small_fault_is_told() {
    for points in [5, 101, 20_001] {
        let refused = region_of(&one_county(&star(points)))
            .expect_err("a star")
            .to_string();
        let said = [
            "encloses ground twice",
            "again and again",
            "over one another",
        ];
        assert!(
            said.iter().any(|part| refused.contains(part)),
            "{points}: {refused}"
        );
        assert!(
            refused.contains("Star (s)") && refused.contains("ogr2ogr"),
            "{refused}"
        );
    }
    let workspace = TestWorkspace::empty();
    let file = workspace.write("star.geojson", one_county(&star(5)));
    let path = workspace.path().display().to_string();
    let run = made(&path, &file).expect_code(1);
    assert!(run.stderr.contains("crosses itself near"), "{run:?}");
    assert!(
        !workspace.path().exists(),
        "nothing is made of a region that is refused"
    );
    // A loop of some meters, as simplifying leaves it.
    let looped = [
        [-100.0, 44.0],
        [-99.0, 44.0],
        [-99.0, 44.5],
        [-98.9999, 44.5001],
        [-98.9999, 44.5],
        [-99.0, 44.5001],
        [-99.0, 45.0],
        [-100.0, 45.0],
    ];
    let region = region_of(&one_county(&looped)).expect("a county");
    let crossed: Vec<_> = region.crossed().map(|(county, _)| &*county.id).collect();
    assert_eq!(crossed, ["s"]);
    let file = workspace.write("looped.geojson", one_county(&looped));
    let run = made(&path, &file).expect_code(0);
    assert!(run.stdout.contains("touches itself near -98.99"), "{run:?}");
    assert_eq!(
        region_of(&two_counties(100))
            .expect("two counties")
            .crossed()
            .count(),
        0
    );
}

#[test]
fn a_file_whose_edges_lie_over_one_another_is_refused_before_it_costs_their_square() {
    // Slanted teeth, each as long as the county is wide: every box of an edge holds all the others.
    let teeth = 30_000;
    let mut ring = Vec::new();
    for tooth in 0..teeth {
        let shift = 0.5 * f64::from(tooth) / f64::from(teeth);
        ring.push([-100.0 + shift, 44.0 - shift]);
        ring.push([-99.0 + shift + 0.000_01, 45.0 - shift]);
    }
    ring.push([-98.4, 43.4]);
    ring.push([-100.0, 43.4]);
    let refused = region_of(&one_county(&ring))
        .expect_err("teeth")
        .to_string();
    assert!(
        refused.contains("edges that overlap one another"),
        "{refused}"
    );
}
