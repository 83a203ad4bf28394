//! The built-in counties.

use std::path::Path;

use geo::Area;
use scouting::failure::Kind;
use scouting::region::Region;
use sha2::{Digest, Sha256};

use super::assert_says;
use crate::support::region::BUILT_IN_FILE;

#[test]
fn every_built_in_county_is_there_or_listed() {
    let states = "01,02,04,05,06,08,09,10,11,12,13,15,16,17,18,19,20,21,22,23,24,25,26,27,28,29,30,31,\
         32,33,34,35,36,37,38,39,40,41,42,44,45,46,47,48,49,50,51,53,54,55,56,60,66,69,72,78";
    let region = Region::built_in(&format!("us:{states}")).expect("all states");
    let without_shape: Vec<&str> = region
        .without_shape()
        .iter()
        .map(|county| county.id.as_str())
        .collect();
    assert_eq!(without_shape, ["51610"]);
    assert_eq!(region.counties().len() + without_shape.len(), 3_231);
    assert!(region.county("51610").is_none());
    assert!(
        region
            .counties()
            .is_sorted_by(|one, other| one.id < other.id)
    );
    assert!(region.counties().iter().all(|county| county.id.len() == 5));
    for county in region.counties() {
        for part in &county.shape {
            assert!(part.signed_area() > 0.0, "{} is not wound", county.id);
            let rings = part.interiors().iter().chain([part.exterior()]);
            assert!(
                rings
                    .into_iter()
                    .all(|ring| ring.is_closed() && ring.0.len() >= 4)
            );
        }
    }
    // 14 rings of the source enclose a hole.
    let holes: usize = region
        .counties()
        .iter()
        .flat_map(|county| &county.shape)
        .map(|part| part.interiors().len())
        .sum();
    assert_eq!(holes, 14);
}

#[test]
fn a_state_is_named_and_carries_its_source() {
    let region = Region::built_in("us:46").expect("South Dakota");
    assert_eq!(region.counties().len(), 66);
    assert_eq!(region.title(), "South Dakota");
    assert_eq!(region.vintage(), "2017");
    assert!(region.source().contains("Census") && region.source().contains("us-atlas 3.0.1"));
    assert_eq!(region.invented(), None);
    assert_eq!(
        region.county("46102").expect("a county of 2015").name,
        "Oglala Lakota"
    );
    // Pierre, the state's capital, is in Hughes County: 44.37 N, 100.35 W (from memory).
    assert_eq!(
        region.locate(-100.35, 44.37).expect("Pierre").name,
        "Hughes"
    );
    let bounds = region.bounds();
    assert!((bounds.min().x + 104.06).abs() < 0.01 && (bounds.max().y - 45.945).abs() < 0.01);
    let two = Region::built_in("us:31, 20,31").expect("Kansas and Nebraska");
    assert_eq!(two.title(), "Kansas, Nebraska");
    assert_eq!(two.counties().len(), 105 + 93);
    let padded = Region::built_in("us:6").expect("a lost zero is put back");
    assert_eq!(padded.title(), "California");
}

#[test]
fn an_unknown_state_lists_the_states() {
    for wrong in [
        "us:03", "us:46,99", "us:", "us:SD", "us:046", "46", "us", "",
    ] {
        let failure = Region::built_in(wrong).expect_err(wrong);
        assert_eq!(failure.kind(), Kind::Settings);
        assert_says(
            &failure.to_string(),
            &[
                "01 Alabama",
                "46 South Dakota",
                "78 United States Virgin Islands",
            ],
        );
    }
}

#[test]
fn the_readme_tells_the_digest_of_the_built_in_file() {
    let root = Path::new(env!("CARGO_MANIFEST_DIR"));
    let bytes = std::fs::read(root.join(BUILT_IN_FILE)).expect("the built-in file");
    let readme = std::fs::read_to_string(root.join("pipeline/boundaries/README.md"))
        .expect("the README of the boundaries");
    let digest: String = Sha256::digest(&bytes)
        .iter()
        .map(|byte| format!("{byte:02x}"))
        .collect();
    assert!(readme.contains(&digest), "the file's SHA-256 is {digest}");
}
