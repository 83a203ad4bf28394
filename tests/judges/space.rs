//! Neighbors, Moran's I and empirical-Bayes rates against independent libraries on open data.

use std::collections::BTreeMap;

use scouting::region::Region;
use scouting::region::adjacency::neighbors_of;
use serde::Deserialize;
use serde_json::json;
use stats::space::moran::{Weights, morans_i, permutation_test};
use stats::space::shrinkage::{AreaCount, Form, Moments, shrink_to_all, shrink_to_neighbours};

use crate::judge::python;
use crate::support::TestWorkspace;

const TOLERANCE: f64 = 1e-6;

const SEED: u64 = 1;

/// What `tests/reference/space.py` writes.
#[derive(Deserialize)]
struct Reference {
    moran: Vec<MoranCase>,
    rates: Vec<RateCase>,
}

#[derive(Deserialize)]
struct MoranCase {
    name: String,
    values: Vec<f64>,
    neighbors: Vec<Vec<usize>>,
    weights: String,
    statistic: f64,
    expectation: f64,
    variance_normal: f64,
    variance_randomised: f64,
    z: f64,
    p_value: f64,
    permutations: u32,
}

#[derive(Deserialize)]
struct RateCase {
    name: String,
    events: Vec<u64>,
    population: Vec<u64>,
    neighbors: Vec<Vec<usize>>,
    to_all: Vec<Option<f64>>,
    to_neighbors: Vec<Option<f64>>,
}

fn reference() -> Reference {
    let written = python("tests/reference/space.py", &[]);
    serde_json::from_str(&written).expect("the cases of the reference")
}

#[track_caller]
fn assert_near(what: &str, found: f64, expected: f64) {
    assert!(
        (found - expected).abs() <= TOLERANCE * expected.abs().max(1e-3),
        "{what}: {found}, expected {expected}"
    );
}

#[test]
fn morans_i_is_that_of_esda_and_of_the_printed_figures() {
    let cases = reference().moran;
    assert_eq!(cases.len(), 12);
    for case in &cases {
        let weights = match &*case.weights {
            "binary" => Weights::Binary,
            _ => Weights::RowStandardised,
        };
        let what = format!("{} {}", case.name, case.weights);
        let values: Vec<Option<f64>> = case.values.iter().copied().map(Some).collect();
        let found = morans_i(&values, &case.neighbors, weights).expect("it is defined");
        let randomised = found.variance_randomised.expect("enough areas");
        let z = found.z().expect("enough areas");
        for (found, expected) in [
            (found.statistic, case.statistic),
            (found.expectation, case.expectation),
            (found.variance_normal, case.variance_normal),
            (z, case.z),
        ] {
            assert_near(&what, found, expected);
        }
        // There are no islands, so all areas count.
        assert_eq!(found.areas, case.values.len(), "{what}");
        assert_near(&what, randomised, case.variance_randomised);

        let test = permutation_test(&values, &case.neighbors, weights, case.permutations, SEED)
            .expect("it is defined");
        // Two draws of the same share: four standard errors of their difference, and one draw.
        let share = case.p_value;
        let draws = f64::from(case.permutations);
        let error = 4.0 * (2.0 * share * (1.0 - share) / draws).sqrt() + 1.0 / draws;
        let off = (test.p_value - share).abs();
        assert!(off <= error, "{what}: {test:?}, expected {share}");
    }

    // Columbus, crime, the contiguity of Anselin 1988, as the documentation of R's spdep prints it.
    let old = |weights: &str| {
        let case = cases
            .iter()
            .find(|case| case.name == "old contiguity" && case.weights == weights);
        let case = case.expect("a case of the old contiguity");
        assert_eq!(case.neighbors.concat().len(), 232);
        case
    };
    let found = |case: &MoranCase, weights| {
        let values: Vec<Option<f64>> = case.values.iter().copied().map(Some).collect();
        morans_i(&values, &case.neighbors, weights).expect("it is defined")
    };
    let by_row = found(old("row-standardised"), Weights::RowStandardised);
    let binary = found(old("binary"), Weights::Binary);
    for (found, printed, last_digit) in [
        (by_row.statistic, 0.510_951_264, 1e-9),
        (
            by_row.variance_randomised.expect("49 areas"),
            0.008_908_762,
            1e-9,
        ),
        (by_row.variance_normal, 0.008_779_831, 1e-9),
        (by_row.z().expect("49 areas"), 5.634_1, 1e-4),
        (binary.statistic, 0.520_638_15, 1e-8),
        (
            binary.variance_randomised.expect("49 areas"),
            0.007_598_72,
            1e-8,
        ),
        (binary.z().expect("49 areas"), 6.211_6, 1e-4),
    ] {
        let off = (found - printed).abs();
        assert!(off <= 0.51 * last_digit, "{found}, printed {printed}");
    }
}

#[test]
fn rates_in_the_poisson_form_are_those_of_esda() {
    let cases = reference().rates;
    assert_eq!(cases.len(), 2);
    for case in cases {
        let areas: Vec<AreaCount> = case
            .events
            .iter()
            .zip(&case.population)
            .map(|(&at_threshold, &visited)| AreaCount {
                at_threshold: at_threshold as f64,
                visited,
            })
            .collect();
        let moments = Moments::of(areas.iter().copied(), Form::Poisson).expect("moments");
        assert!(moments.variance_between > 0.0, "else esda goes its own way");
        let to_all = shrink_to_all(&areas, Form::Poisson);
        let to_neighbors = shrink_to_neighbours(&areas, &case.neighbors, Form::Poisson);
        for (found, expected) in [(to_all, case.to_all), (to_neighbors, case.to_neighbors)] {
            assert_eq!(found.len(), expected.len());
            for (area, (found, expected)) in found.iter().zip(expected).enumerate() {
                let what = format!("{} area {area}", case.name);
                let found = found.expect("each area has neighbors");
                match expected {
                    Some(expected) => assert_near(&what, found, expected),
                    // Nobody died around: no share could be smaller.
                    None => assert_eq!(found, 0.0, "{what}"),
                }
            }
        }
    }
}

#[test]
fn the_neighbors_of_built_in_counties_are_those_of_libpysal() {
    let place = TestWorkspace::empty();
    // The plains; Virginia with its towns inside counties; Hawaii and Michigan with their islands.
    for states in ["us:46,38,20,31,27", "us:51", "us:15,26"] {
        let region = Region::built_in(states).expect("built-in states");
        let counties = region.counties();
        let features: Vec<_> = counties
            .iter()
            .map(|county| {
                let polygons: Vec<Vec<Vec<[f64; 2]>>> = county
                    .shape
                    .iter()
                    .map(|polygon| {
                        let rings = std::iter::once(polygon.exterior()).chain(polygon.interiors());
                        rings
                            .map(|ring| ring.coords().map(|at| [at.x, at.y]).collect())
                            .collect()
                    })
                    .collect();
                json!({"type": "Feature", "properties": {"id": county.id},
                    "geometry": {"type": "MultiPolygon", "coordinates": polygons}})
            })
            .collect();
        let collection = json!({"type": "FeatureCollection", "features": features});
        let file = place.write("counties.geojson", collection.to_string());
        let file = file.display().to_string();
        let written = python("tests/reference/contiguity.py", &[&file]);
        let expected: BTreeMap<String, Vec<String>> =
            serde_json::from_str(&written).expect("ids of neighbors");

        let found: BTreeMap<String, Vec<String>> = counties
            .iter()
            .zip(neighbors_of(counties))
            .map(|(county, near)| {
                let near = near.into_iter().map(|other| counties[other].id.clone());
                (county.id.clone(), near.collect())
            })
            .collect();
        assert_eq!(found.len(), counties.len());
        let links: usize = found.values().map(Vec::len).sum();
        assert!(links > counties.len(), "{states}: {links} links");
        for (county, near) in &expected {
            assert_eq!(&found[county], near, "{states}: neighbors of {county}");
        }
        assert_eq!(found, expected, "{states}");
    }
}
