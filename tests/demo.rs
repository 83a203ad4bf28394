//! What the demo publishes says what it is.

use serde_json::Value;

use crate::support::{bractline, contents, text_of};

#[test]
fn what_the_demo_publishes_says_that_it_is_invented_and_carries_the_cautions() {
    let folder = tempfile::tempdir().expect("a temporary folder");
    let path = folder.path().join("demo");
    bractline(&["demo", &text_of(&path)]).expect_code(0);
    let notice = bractline::demo::landscape::NOTICE;
    let geojson =
        std::fs::read_to_string(path.join("figures/public/county_week.geojson")).expect("the map");
    let geojson: Value = serde_json::from_str(&geojson).expect("JSON");
    assert_eq!(geojson["invented"], notice);
    assert!(
        geojson["caution"]
            .as_str()
            .is_some_and(|caution| caution.contains("label"))
    );
    let pages = contents(&path.join("alerts"));
    let page = pages
        .iter()
        .find(|(path, _)| path.ends_with("alert.html"))
        .expect("the page")
        .1;
    let page = String::from_utf8_lossy(page);
    for part in [
        notice,
        "The label is the law",
        "bees",
        "the Sallow Plain (invented)",
    ] {
        assert!(page.contains(part), "no {part:?} on the page");
    }
    // A folder of the maker's machine is nobody's business.
    let place = text_of(folder.path());
    for (file, content) in contents(&path.join("figures")).into_iter().chain(pages) {
        let text = String::from_utf8_lossy(&content);
        assert!(!text.contains(&place), "{} names a folder", file.display());
    }
}
