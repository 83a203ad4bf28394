//! Boundary files that are refused.

use scouting::failure::Kind;
use scouting::region::Region;

use super::{assert_says, collection, feature, polygon, read, refusal, square};

#[test]
fn an_id_that_is_there_twice_names_both_counties() {
    let message = refusal(&collection(&[
        feature(r#"{"id":"7","name":"Ash"}"#, &polygon(&square(0.0, 0.0))),
        feature(r#"{"id":"5","name":"Elm"}"#, &polygon(&square(1.0, 0.0))),
        feature(r#"{"id":7,"name":"Oak"}"#, &polygon(&square(2.0, 0.0))),
    ]));
    assert_says(
        &message,
        &["the id 7: Ash and Oak", "/features/0", "/features/2"],
    );
}

#[test]
fn a_feature_without_id_or_name_tells_what_it_has() {
    let shape = polygon(&square(0.0, 0.0));
    let no_id = refusal(&collection(&[feature(
        r#"{"GEOID":"1","name":"A"}"#,
        &shape,
    )]));
    assert_says(
        &no_id,
        &[
            "no id",
            "it has: GEOID, name",
            "/features/0",
            "--id-property",
        ],
    );
    let no_name = refusal(&collection(&[feature(r#"{"id":"1","NAME":"A"}"#, &shape)]));
    assert_says(
        &no_name,
        &["no name", "it has: ", "NAME", "--name-property"],
    );
    for empty in [
        r#"{"id":"","name":"A"}"#,
        r#"{"id":null,"name":"A"}"#,
        r#"{"id":[1],"name":"A"}"#,
    ] {
        assert_says(&refusal(&collection(&[feature(empty, &shape)])), &["no id"]);
    }
    assert_says(
        &refusal(&collection(&[feature("null", &shape)])),
        &["it has none"],
    );
}

#[test]
fn a_feature_that_is_no_area_is_refused() {
    let labels = r#"{"id":"a","name":"A"}"#;
    assert_says(
        &refusal(&collection(&[feature(labels, "null")])),
        &["no geometry", "feature 1 (/features/0)"],
    );
    for (geometry, found) in [
        (r#"{"type":"Point","coordinates":[0,0]}"#, "found Point"),
        (
            r#"{"type":"GeometryCollection","geometries":[]}"#,
            "found GeometryCollection",
        ),
    ] {
        assert_says(
            &refusal(&collection(&[feature(labels, geometry)])),
            &[found, "/features/0"],
        );
    }
    let bad = feature(
        labels,
        r#"{"type":"Polygon","coordinates":[[[0],[1,0],[1,1],[0]]]}"#,
    );
    assert_says(
        &refusal(&collection(&[bad])),
        &["fewer than two numbers", "/features/0"],
    );
    assert_says(
        &refusal(&collection(&["7".to_owned()])),
        &["cannot be read", "/features/0"],
    );
}

#[test]
fn coordinates_that_are_not_degrees_are_refused() {
    for ring in [
        "[[500000,4900000],[500001,4900000],[500001,4900001],[500000,4900000]]",
        "[[44,-100],[45,-100],[45,-101],[44,-100]]",
        "[[181,0],[182,0],[182,1],[181,0]]",
    ] {
        let message = refusal(&collection(&[feature(
            r#"{"id":"a","name":"A"}"#,
            &polygon(ring),
        )]));
        assert_says(
            &message,
            &[
                "is not a longitude and a latitude",
                "projected",
                "/features/0",
            ],
        );
    }
    let huge = "[[1e999,0],[1,0],[1,1],[1e999,0]]";
    assert_says(
        &refusal(&collection(&[feature(
            r#"{"id":"a","name":"A"}"#,
            &polygon(huge),
        )])),
        &["number out of range"],
    );
}

#[test]
fn another_reference_system_is_refused() {
    let with = |crs: &str| {
        collection(&[feature(
            r#"{"id":"a","name":"A"}"#,
            &polygon(&square(0.0, 0.0)),
        )])
        .replacen('{', &format!(r#"{{"crs":{crs},"#), 1)
    };
    let named = |name: &str| {
        with(&format!(
            r#"{{"type":"name","properties":{{"name":"{name}"}}}}"#
        ))
    };
    for name in [
        "urn:ogc:def:crs:OGC:1.3:CRS84",
        "urn:ogc:def:crs:EPSG::4326",
        "EPSG:4326",
    ] {
        assert!(read(&named(name)).is_ok(), "{name}");
    }
    assert!(read(&with("null")).is_ok());
    assert_says(
        &refusal(&named("urn:ogc:def:crs:EPSG::5070")),
        &["EPSG::5070", "ogr2ogr", "/crs"],
    );
    assert_says(
        &refusal(&with(r#"{"type":"link","properties":{"href":"x"}}"#)),
        &["reference system", "href"],
    );
}

#[test]
fn a_file_that_is_no_region_is_refused() {
    assert_says(&refusal(&collection(&[])), &["no county", "test.geojson"]);
    assert_says(&refusal(""), &["not JSON"]);
    assert_says(&refusal("county,lon,lat"), &["not JSON", "line 1"]);
    assert_says(&refusal("[]"), &["where: test.geojson"]);
    assert_says(&refusal("{}"), &["neither GeoJSON nor TopoJSON", "no type"]);
    assert_says(
        &refusal(&polygon(&square(0.0, 0.0))),
        &["found Polygon", "FeatureCollection"],
    );
    assert_says(
        &refusal(r#"{"type":"FeatureCollection"}"#),
        &["missing field `features`"],
    );
    let deep = format!("{}{}", "[".repeat(100_000), "]".repeat(100_000));
    assert_says(
        &refusal(&format!(
            r#"{{"type":"FeatureCollection","features":{deep}}}"#
        )),
        &["recursion limit"],
    );
}

#[test]
fn a_file_that_cannot_be_read_is_named() {
    let folder = tempfile::tempdir().expect("a temporary folder");
    let missing = folder.path().join("missing.geojson");
    let failure = Region::from_file(&missing, "id", "name").expect_err("no such file");
    assert_eq!(failure.kind(), Kind::Files);
    assert_says(&failure.to_string(), &["missing.geojson"]);

    let binary = folder.path().join("counties.shp");
    std::fs::write(&binary, [0, 0, 0x27, 0x0a, 0xff]).expect("writes");
    let failure = Region::from_file(&binary, "id", "name").expect_err("not text");
    assert_eq!(failure.kind(), Kind::Boundaries);
    assert_says(&failure.to_string(), &["not UTF-8", "byte 4", "ogr2ogr"]);

    let marked = folder.path().join("marked.geojson");
    let text = collection(&[feature(
        r#"{"id":"a","name":"A"}"#,
        &polygon(&square(0.0, 0.0)),
    )]);
    std::fs::write(&marked, format!("\u{feff}{text}")).expect("writes");
    let region = Region::from_file(&marked, "id", "name").expect("a byte order mark is no fault");
    assert_eq!(region.counties().len(), 1);
}
