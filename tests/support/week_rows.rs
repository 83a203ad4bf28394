//! A region of sixteen invented counties, public rows of a week of it, and the roll-up's table of them.

use std::collections::BTreeMap;

use arrow::array::RecordBatch;
use bractline::shared::classes::bands;
use disclosure::median_class::MedianClass;
use disclosure::place::Place;
use disclosure::public_row::PublicRow;
use disclosure::rule::{Level, Rule};
use jiff::civil::date;
use scouting::region::Region;
use scouting::region::adjacency::neighbors_of;
use scouting::region::point_grid::GridWidth;
use scouting::visit::week::{WeekStart, Weeks};
use serde_json::{Value, json};
use store::public::public_tables::PublicTables;
use store::stages::computed::windows::Weather;
use store::stages::inputs::{RegionCounty, Setting};

pub const NAMES: [&str; 16] = [
    "Alder",
    "Bergamot",
    "Cinder Hill",
    "Dogwood",
    "Elk Ford",
    "Foxglove",
    "Goldenrod",
    "Hazel",
    "Indigo",
    "Juniper",
    "Kestrel",
    "Larkspur",
    "Milkweed",
    "Nettle",
    "Oxbow",
    "Prairie Clover",
];

pub const NOTICE: &str = "Invented data of an invented region, made to show the page. No real field, \
                      county or person is in it.";

/// A made-up region of sixteen counties with crooked borders, a hole in one and an island.
pub fn region() -> Region {
    region_named(&NAMES)
}

pub fn region_named(names: &[&str]) -> Region {
    let features = (0..16).map(|place| feature(place, names[place])).collect();
    region_of(features)
}

pub fn region_of(features: Vec<Value>) -> Region {
    let text = json!({
        "type": "FeatureCollection",
        "title": "the Sixteen Counties",
        "vintage": "2026",
        "source": "made up for the tests",
        "invented": NOTICE,
        "features": features,
    });
    Region::from_text(&text.to_string(), "the test", "id", "name").expect("a good region")
}

fn feature(place: usize, name: &str) -> Value {
    let (column, row) = (place % 4, place / 4);
    let mut outside = Vec::new();
    let corners = [(0, 0), (1, 0), (1, 1), (0, 1), (0, 0)];
    for pair in corners.windows(2) {
        for step in 0..6 {
            let along = step as f64 / 6.0;
            let between = |from: usize, to: usize| from as f64 + along * (to as f64 - from as f64);
            let x = column as f64 + between(pair[0].0, pair[1].0);
            let y = row as f64 + between(pair[0].1, pair[1].1);
            outside.push(crooked(x, y));
        }
    }
    outside.push(outside[0]);
    let mut polygons = vec![vec![outside]];
    if place == 5 {
        let hole = [(1.4, 1.4), (1.4, 1.6), (1.6, 1.6), (1.6, 1.4), (1.4, 1.4)];
        polygons[0].push(hole.map(|(x, y)| crooked(x, y)).to_vec());
    }
    if place == 15 {
        let island = [(4.3, 3.7), (4.5, 3.7), (4.4, 3.9), (4.3, 3.7)];
        polygons.push(vec![island.map(|(x, y)| crooked(x, y)).to_vec()]);
        // Smaller than the grid of the file: it must not come out as an empty ring.
        let speck = [
            [-99.2, 45.2],
            [-99.199_999, 45.2],
            [-99.2, 45.200_001],
            [-99.2, 45.2],
        ];
        polygons.push(vec![speck.to_vec()]);
    }
    json!({
        "type": "Feature",
        "properties": {"id": format!("{:03}", place + 1), "name": name},
        "geometry": {"type": "MultiPolygon", "coordinates": polygons},
    })
}

/// The same bend for the same corner, so that neighbors share their borders.
fn crooked(x: f64, y: f64) -> [f64; 2] {
    let bend = 0.09 * ((3.1 * y + 1.7 * x).sin() + 0.5 * (7.3 * x - 2.9 * y).cos());
    let lean = 0.07 * ((2.3 * x + 0.9 * y).cos() + 0.6 * (5.9 * y).sin());
    [
        -103.123_456_789 + 0.9 * (x + bend),
        43.1 + 0.55 * (y + lean),
    ]
}

fn row(place: usize) -> PublicRow {
    PublicRow {
        place: Place::County(format!("{:03}", place + 1)),
        season: 2026,
        iso_week: "2026-W30".to_owned(),
        week_starts: WeekStart::MONDAY,
        protocol: "bsm-eggs".to_owned(),
        edition: 1,
        visits_until: date(2026, 7, 26),
        level: Level::Survey,
        fields_visited: 0,
        at_threshold: [0, 0],
        median: None,
        mean_pressure: None,
        fields_with_assumed_economics: Some(0),
        fields_outside_stage: Some(0),
        treatment_weeks: None,
        window_basis: None,
        stages: Vec::new(),
        cells: Vec::new(),
    }
}

/// The row of so many fields in the stage window, as the level `survey` gives it: of three or four fields none or one
/// or more, all like all but one, and from five fields the class of the median. `greatest` says whether anything was
/// found.
pub fn shown(
    place: usize,
    visited: u32,
    at_threshold: u32,
    median: f64,
    greatest: f64,
) -> PublicRow {
    let class = || {
        let band = bands(Level::Survey)
            .iter()
            .rfind(|band| median >= band.from)
            .expect("a pressure");
        match greatest > 0.0 {
            true => MedianClass {
                from: band.from,
                below: band.below,
                nothing_found: false,
            },
            false => MedianClass::NOTHING_FOUND,
        }
    };
    PublicRow {
        fields_visited: visited,
        at_threshold: match at_threshold {
            0 => [0, 0],
            _ if visited < 5 => [1, visited],
            _ if at_threshold >= visited - 1 => [visited - 1, visited],
            _ => [at_threshold, at_threshold],
        },
        median: (visited >= 5).then(class),
        ..row(place)
    }
}

/// The row of a county all of whose fields were visited at another crop stage.
pub fn other_stage(place: usize, fields: u32) -> PublicRow {
    PublicRow {
        fields_outside_stage: Some(fields),
        ..row(place)
    }
}

/// The same row for another place than a county.
pub fn elsewhere(row: PublicRow) -> PublicRow {
    PublicRow {
        place: Place::Region,
        ..row
    }
}

/// A week with a county of every kind and class; the counties 004, 014, 015 and 016 have no row.
pub fn week() -> Vec<PublicRow> {
    vec![
        shown(0, 9, 0, 0.12, 0.61),
        shown(1, 7, 4, 1.317, 2.44),
        shown(2, 12, 2, 0.55, 1.2),
        shown(4, 5, 0, 0.0, 0.0),
        shown(5, 14, 9, 1.62, 3.9),
        shown(6, 8, 3, 0.999_999_9, 1.8),
        other_stage(7, 4),
        shown(8, 6, 1, 0.3, 1.0),
        shown(9, 11, 6, 1.0, 2.0),
        shown(10, 4, 0, 0.25, 0.4),
        shown(11, 3, 2, 1.1, 1.4),
        shown(12, 6, 0, 0.0, 0.2),
    ]
}

/// The table `county_week` of these rows, as the roll-up makes it.
pub fn county_week_of(region: &Region, rows: &[PublicRow]) -> RecordBatch {
    let counties = region.counties();
    let setting = Setting {
        rule: Rule::LEAST,
        districts: BTreeMap::new(),
        weeks: Weeks::ISO,
        point_grid: GridWidth::of_km(10.0).expect("a width of the grid"),
        counties: counties
            .iter()
            .zip(neighbors_of(counties))
            .map(|(county, neighbors)| RegionCounty {
                id: county.id.clone(),
                name: county.name.clone(),
                neighbors,
            })
            .collect(),
        certainty: 0.9,
        weather: Weather::default(),
    };
    let runtime = tokio::runtime::Runtime::new().expect("a runtime");
    let tables = runtime.block_on(PublicTables::of(rows.to_vec(), &setting));
    let tables = tables.unwrap_or_else(|failure| panic!("{failure}"));
    tables.county_week().batch.clone()
}

/// What a text holds between two others.
pub fn between<'a>(page: &'a str, start: &str, end: &str) -> &'a str {
    let (_, rest) = page
        .split_once(start)
        .unwrap_or_else(|| panic!("no {start}"));
    rest.split_once(end)
        .unwrap_or_else(|| panic!("no {end} after {start}"))
        .0
}
