//! The map files, read and validated by other programs.

use bractline::alert::page::county_map::{MapTitle, draw_county_map};
use bractline::figures::map::rows::Coverage;
use bractline::shared::files::write_file;
use scouting::region::Region;
use serde_json::{Value, json};

use crate::judge::python;
use crate::support::map_files::{WEEK, WEEK_DAYS, county_week_geojson};
use crate::support::week_rows::{NOTICE, between, elsewhere, region, region_of, shown, week};
use crate::support::{IDENTITY, LOOK};

// ---- the files ----

/// The files of the sample week, checked by programs that are not ours.
#[test]
fn the_week_opens_in_other_programs_with_every_county_and_figure() {
    let folder = tempfile::tempdir().expect("a temporary folder");
    let coverage = Coverage::WholeWeek {
        iso_week: "2026-W30",
        days: WEEK_DAYS,
        protocols: &["lygus-adults"],
    };
    let mut rows = week();
    rows.push(elsewhere(shown(3, 5, 5, 2.0, 3.0)));
    let bytes = county_week_geojson(&region(), &rows, coverage).expect("GeoJSON");
    let path = folder.path().join("week.geojson");
    write_file(&path, &bytes).expect("written");
    let report = python(
        "tests/reference/check_map_files.py",
        &["geojson", text(&path), "32"],
    );
    assert_eq!(report.trim(), "32 features, every check passed");

    let collection: Value = serde_json::from_slice(&bytes).expect("JSON");
    assert_eq!(collection["generator"], "bractline");
    assert_eq!(collection["invented"], NOTICE);
    assert_eq!(collection["boundaries"]["vintage"], "2026");
    assert!(
        collection["caution"]
            .as_str()
            .is_some_and(|text| text.contains("label"))
    );
    let find = |id: &str| {
        let features = collection["features"].as_array().expect("features");
        let found = features.iter().find(|feature| feature["id"] == id);
        found.unwrap_or_else(|| panic!("no {id}"))["properties"].clone()
    };
    let known = find("002.2026-W30.bsm-eggs");
    assert_eq!(known["status"], "median");
    assert_eq!(
        (&known["median_class"], &known["median_from"]),
        (&json!("1-1.5"), &json!(1.0))
    );
    assert_eq!(
        (&known["at_threshold_min"], &known["at_threshold_max"]),
        (&json!(4), &json!(4))
    );
    assert_eq!(known["visits_until"], "2026-07-26");
    assert_eq!(
        (&known["start"], &known["end"]),
        (&json!("2026-07-20"), &json!("2026-07-26"))
    );
    let small = find("012.2026-W30.bsm-eggs");
    assert_eq!(
        (&small["at_threshold_min"], &small["at_threshold_max"]),
        (&json!(1), &json!(3))
    );
    for (id, status) in [
        ("004.2026-W30.bsm-eggs", "no-figures"),
        ("005.2026-W30.bsm-eggs", "nothing-found"),
        ("008.2026-W30.bsm-eggs", "other-stage"),
        ("011.2026-W30.bsm-eggs", "none-at-threshold"),
        ("012.2026-W30.bsm-eggs", "some-at-threshold"),
        ("014.2026-W30.bsm-eggs", "no-figures"),
        ("002.2026-W30.lygus-adults", "no-figures"),
    ] {
        let properties = find(id);
        assert_eq!(properties["status"], status, "{id}");
        let members = properties.as_object().expect("an object");
        assert_eq!(
            members.len(),
            known.as_object().expect("an object").len(),
            "{id}"
        );
        for name in IDENTITY {
            assert!(!properties[name].is_null(), "{id}: {name}");
        }
        if status == "no-figures" {
            let figures = || {
                members
                    .iter()
                    .filter(|(name, _)| ![&IDENTITY[..], &LOOK].concat().contains(&&***name))
            };
            assert_eq!(
                figures().count(),
                members.len() - IDENTITY.len() - LOOK.len()
            );
            for (name, value) in figures() {
                assert!(value.is_null(), "{id}: {name} is {value}");
            }
        }
    }
}

#[test]
fn a_region_across_the_antimeridian_gets_a_box_whose_west_is_greater_than_its_east() {
    let ring = |west: f64, east: f64| {
        json!([[
            [west, 51.0],
            [east, 51.0],
            [east, 53.0],
            [west, 53.0],
            [west, 51.0]
        ]])
    };
    let islands = json!({
        "type": "Feature",
        "properties": {"id": "001", "name": "Far Islands"},
        "geometry": {"type": "MultiPolygon", "coordinates": [ring(-180.0, -163.5), ring(172.4, 180.0)]},
    });
    let region = region_of(vec![islands]);
    let rows = [shown(0, 5, 1, 0.5, 1.0)];
    let bytes = county_week_geojson(&region, &rows, Coverage::VisitedCounties).expect("GeoJSON");
    let collection: Value = serde_json::from_slice(&bytes).expect("JSON");
    assert_eq!(collection["bbox"], json!([172.4, 51.0, -163.5, 53.0]));
    let folder = tempfile::tempdir().expect("a temporary folder");
    let path = folder.path().join("islands.geojson");
    write_file(&path, &bytes).expect("written");
    let report = python(
        "tests/reference/check_map_files.py",
        &["geojson", text(&path), "1"],
    );
    assert_eq!(report.trim(), "1 features, every check passed");
    // On the map the two parts are next to each other, not at the two ends of the world.
    let title = MapTitle {
        subject: "Eggs",
        week: "week 30",
        words: bractline::shared::count_words::CountWords::Threshold,
    };
    let svg = draw_county_map(&region, &rows, title).svg;
    let height: f64 = between(&svg, "viewBox=\"0 0 ", "\"")
        .split_once(' ')
        .expect("two")
        .1
        .parse()
        .expect("a number");
    assert!(height > 60.0, "the map is a strip {height} high");
}

/// Among them are outlines that run back over themselves (17069, 51093), cross themselves (06001),
/// lie on both sides of the 180th meridian (02016), and one that is not there at all (51610).
#[test]
fn every_built_in_county_is_published_as_a_valid_shape() {
    let states: Vec<String> = (1..=56)
        .filter(|code| ![3, 7, 14, 43, 52].contains(code))
        .map(|code| format!("{code:02}"))
        .collect();
    let region = Region::built_in(&format!("us:{}", states.join(","))).expect("built-in states");
    let bytes = county_week_geojson(&region, &[], WEEK).expect("GeoJSON");
    let collection: Value = serde_json::from_slice(&bytes).expect("JSON");
    let west_and_east = (&collection["bbox"][0], &collection["bbox"][2]);
    assert!(
        west_and_east.0.as_f64() > west_and_east.1.as_f64(),
        "{west_and_east:?}"
    );
    assert_eq!(collection["counties_without_outline"], json!(["51610"]));
    let folder = tempfile::tempdir().expect("a temporary folder");
    let path = folder.path().join("counties.geojson");
    write_file(&path, &bytes).expect("written");
    let report = python(
        "tests/reference/check_map_files.py",
        &["geojson", text(&path), "3141"],
    );
    assert_eq!(report.trim(), "3141 features, every check passed");
}

fn text(path: &std::path::Path) -> &str {
    path.to_str().expect("a UTF-8 path")
}
