//! Counties of points against an independent computation.

use std::collections::BTreeMap;

use scouting::region::Region;

use crate::support::region::BUILT_IN_FILE;

const SEED: &str = "20260721";

const RANDOM_POINTS: usize = 100_000;

#[test]
fn shapely_finds_the_same_county_for_every_point() {
    let folder = tempfile::tempdir().expect("a temporary folder");
    let geojson = folder.path().join("five-states.geojson");
    let located = crate::judge::python(
        "tests/reference/counties.py",
        &[
            BUILT_IN_FILE,
            "46,38,20,31,27",
            &RANDOM_POINTS.to_string(),
            SEED,
            geojson.to_str().expect("a readable path"),
        ],
    );
    let built_in = Region::built_in("us:46,38,20,31,27").expect("five states");
    let read_back = Region::from_file(&geojson, "code", "label").expect("what shapely has");
    assert_eq!(built_in.counties(), read_back.counties());

    let mut compared: BTreeMap<&str, usize> = BTreeMap::new();
    let mut inside = 0;
    for line in located.lines() {
        let [kind, lon, lat, expected] = line.split(' ').collect::<Vec<_>>()[..] else {
            panic!("the reference wrote: {line}");
        };
        let (lon, lat): (f64, f64) = (lon.parse().expect("degrees"), lat.parse().expect("degrees"));
        for region in [&built_in, &read_back] {
            let found = region.locate(lon, lat).map_or("-", |county| &county.id);
            assert_eq!(found, expected, "{kind} point {lon} {lat} (seed {SEED})");
        }
        *compared.entry(kind).or_default() += 1;
        inside += usize::from(expected != "-");
    }
    assert_eq!(compared["random"], RANDOM_POINTS);
    // The five states have 2,159 vertices and 2,563 border segments.
    assert!(compared["vertex"] > 2_000 && compared["segment"] > 7_000);
    assert!(inside > 90_000, "only {inside} points lie in a county");
}
