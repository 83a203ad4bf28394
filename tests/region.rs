//! The region: what a boundary file may hold, and which county a point is in. The files that must be refused
//! are written out here.

use std::path::Path;

use bractline::failure::{Failure, Kind};
use bractline::region::Region;
use geo::Area;
use sha2::{Digest, Sha256};

use crate::support::region::BUILT_IN_FILE;

/// One square of a grid of degrees, counter-clockwise, as GeoJSON coordinates of a ring.
fn square(west: f64, south: f64) -> String {
    let (east, north) = (west + 1.0, south + 1.0);
    format!(
        "[[{west},{south}],[{east},{south}],[{east},{north}],[{west},{north}],[{west},{south}]]"
    )
}

fn feature(properties: &str, geometry: &str) -> String {
    format!(r#"{{"type":"Feature","properties":{properties},"geometry":{geometry}}}"#)
}

fn polygon(ring: &str) -> String {
    format!(r#"{{"type":"Polygon","coordinates":[{ring}]}}"#)
}

fn collection(features: &[String]) -> String {
    format!(
        r#"{{"type":"FeatureCollection","features":[{}]}}"#,
        features.join(",")
    )
}

fn read(text: &str) -> Result<Region, Failure> {
    Region::from_text(text, "test.geojson", "id", "name")
}

/// The failure's three lines; fails the test if the text was accepted.
fn refusal(text: &str) -> String {
    let failure = read(text).expect_err("the boundary file must be refused");
    assert_eq!(failure.kind(), Kind::Boundaries);
    failure.to_string()
}

fn assert_says(message: &str, parts: &[&str]) {
    for part in parts {
        assert!(message.contains(part), "no {part:?} in:\n{message}");
    }
    assert!(message.lines().count() <= 3, "too long:\n{message}");
}

/// Two squares side by side; they share the border at longitude 1.
fn two_squares() -> Region {
    read(&collection(&[
        feature(r#"{"id":"b","name":"West"}"#, &polygon(&square(0.0, 0.0))),
        feature(r#"{"id":"a","name":"East"}"#, &polygon(&square(1.0, 0.0))),
    ]))
    .expect("two squares are a region")
}

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
    // Pierre, the state's capital, lies in Hughes County: 44.37 N, 100.35 W (from memory).
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

#[test]
fn a_point_on_a_border_belongs_to_the_lowest_id() {
    let region = two_squares();
    let id_at = |lon, lat| region.locate(lon, lat).map(|county| county.id.as_str());
    assert_eq!(id_at(0.5, 0.5), Some("b"));
    assert_eq!(id_at(1.5, 0.5), Some("a"));
    for lat in [0.0, 0.25, 1.0] {
        assert_eq!(id_at(1.0, lat), Some("a"), "on the shared border at {lat}");
    }
    assert_eq!(id_at(0.0, 0.0), Some("b"), "a corner of one county only");
    assert_eq!(id_at(2.0, 0.5), Some("a"), "the outer border");
}

#[test]
fn a_point_outside_has_no_county() {
    let region = two_squares();
    for (lon, lat) in [
        (2.000_000_1, 0.5),
        (0.5, -0.000_000_1),
        (-179.0, 89.0),
        (f64::NAN, 0.5),
        (0.5, f64::NAN),
        (f64::INFINITY, 0.5),
    ] {
        assert!(region.locate(lon, lat).is_none(), "{lon} {lat}");
    }
}

#[test]
fn ids_are_text_even_where_the_file_has_numbers() {
    let region = read(&collection(&[
        feature(r#"{"id":9,"name":"Nine"}"#, &polygon(&square(0.0, 0.0))),
        feature(r#"{"id":46013.0,"name":7}"#, &polygon(&square(1.0, 0.0))),
    ]))
    .expect("numbers are ids");
    let ids: Vec<_> = region
        .counties()
        .iter()
        .map(|county| county.id.as_str())
        .collect();
    assert_eq!(ids, ["46013", "9"], "sorted as text");
    assert_eq!(region.county("46013").expect("by its text").name, "7");
}

#[test]
fn a_features_own_id_serves_as_id() {
    let own = format!(
        r#"{{"type":"Feature","id":46013,"properties":{{"name":"Brown"}},"geometry":{}}}"#,
        polygon(&square(0.0, 0.0))
    );
    let region = read(&collection(std::slice::from_ref(&own))).expect("the feature's own id");
    assert_eq!(region.counties()[0].id, "46013");
    let failure = Region::from_text(&collection(&[own]), "test.geojson", "GEOID", "name")
        .expect_err("another property was asked for");
    assert_says(&failure.to_string(), &["\"GEOID\"", "it has: name, id"]);
}

#[test]
fn a_clockwise_geojson_is_wound() {
    let outer = "[[0,0],[0,9],[9,9],[9,0],[0,0]]";
    let hole = "[[2,2],[4,2],[4,4],[2,4],[2,2]]";
    let region = read(&collection(&[feature(
        r#"{"id":"a","name":"A"}"#,
        &polygon(&format!("{outer},{hole}")),
    )]))
    .expect("either winding is read");
    let part = &region.counties()[0].shape.0[0];
    let ring = |ring: &geo::LineString<f64>| ring.coords().map(|at| at.x_y()).collect::<Vec<_>>();
    assert_eq!(
        ring(part.exterior()),
        [(0., 0.), (9., 0.), (9., 9.), (0., 9.), (0., 0.)]
    );
    assert_eq!(
        ring(&part.interiors()[0]),
        [(2., 2.), (2., 4.), (4., 4.), (4., 2.), (2., 2.)]
    );
    assert!(region.locate(3.0, 3.0).is_none(), "in the hole");
    assert!(
        region.locate(2.0, 3.0).is_some(),
        "on the border of the hole"
    );
}

/// Two counties that share an arc, the second walking it backwards, and a hole in the first.
/// Quantised: one step is half a degree, from (10, 20).
const SHARED_ARCS: &str = r#"{"type":"Topology","vintage":"2024","source":"drawn for a test",
  "transform":{"scale":[0.5,0.5],"translate":[10,20]},
  "objects":{"counties":{"type":"GeometryCollection","geometries":[
     {"type":"Polygon","id":2,"properties":{"name":"West"},"arcs":[[1,0],[3]]},
     {"type":"MultiPolygon","id":"1","properties":{"name":"East"},"arcs":[[[-1,2]]]}]}},
  "arcs":[[[8,0],[0,8]],
          [[8,8],[-8,0],[0,-8],[8,0]],
          [[8,0],[8,0],[0,8],[-8,0]],
          [[2,2],[0,2],[2,0],[0,-2],[-2,0]]]}"#;

#[test]
fn a_topology_with_reversed_arcs_and_a_hole_is_read() {
    // East walks arc 0 backwards, from (8,8) to (8,0), and arc 2 onwards from there back to (8,8).
    let region = read(SHARED_ARCS).expect("a topology");
    assert_eq!(region.vintage(), "2024");
    assert_eq!(region.source(), "drawn for a test");
    let [east, west] = region.counties() else {
        panic!("two counties");
    };
    assert_eq!((east.id.as_str(), west.id.as_str()), ("1", "2"));
    // Squares of 4 degrees; the hole is one of 1 degree.
    assert_eq!(east.shape.signed_area(), 16.0);
    assert_eq!(west.shape.signed_area(), 15.0);
    assert_eq!(
        east.shape.0[0].exterior().0.len(),
        5,
        "no vertex is repeated"
    );
    assert_eq!(
        region.locate(14.0, 21.0).expect("on the shared arc").id,
        "1"
    );
    assert_eq!(region.locate(12.5, 22.0).expect("in the west").id, "2");
    assert!(region.locate(11.5, 21.5).is_none(), "in the hole");
}

#[test]
fn a_topology_without_transform_is_read_as_it_stands() {
    let text = r#"{"type":"Topology","objects":{"land":{"type":"Polygon","id":"x",
        "properties":{"name":"X"},"arcs":[[0]]}},
        "arcs":[[[0,0],[1.5,0],[1.5,1],[0,1],[0,0]]]}"#;
    let region = read(text).expect("not quantised");
    assert_eq!(region.counties()[0].shape.signed_area(), 1.5);
}

#[test]
fn a_topology_must_say_which_object_holds_the_counties() {
    let polygon = r#"{"type":"Polygon","id":"x","properties":{"name":"X"},"arcs":[[0]]}"#;
    let topology = |objects: &str| {
        format!(
            r#"{{"type":"Topology","objects":{{{objects}}},"arcs":[[[0,0],[1,0],[1,1],[0,0]]]}}"#
        )
    };
    let only = format!(r#""towns":{{"type":"Point"}},"land":{polygon}"#);
    assert_eq!(
        read(&topology(&only))
            .expect("the only one")
            .counties()
            .len(),
        1
    );
    let named = format!(r#""counties":{polygon},"states":{polygon}"#);
    assert_eq!(
        read(&topology(&named))
            .expect("by its name")
            .counties()
            .len(),
        1
    );
    let message = refusal(&topology(&format!(r#""east":{polygon},"west":{polygon}"#)));
    assert_says(&message, &["its objects are: east, west", "\"counties\""]);
    assert_says(&refusal(&topology("")), &["no objects"]);
}

#[test]
fn a_damaged_topology_is_refused() {
    let broken = |old: &str, new: &str| {
        assert_eq!(SHARED_ARCS.matches(old).count(), 1, "{old}");
        refusal(&SHARED_ARCS.replace(old, new))
    };
    assert_says(
        &broken("[[[-1,2]]]", "[[[-1,4]]]"),
        &["arc 4", "4 arcs", "feature 2"],
    );
    assert_says(&broken("[[[-1,2]]]", "[[[-9,2]]]"), &["arc -9", "4 arcs"]);
    assert_says(
        &broken("[[[-1,2]]]", "[[[0,2]]]"),
        &["arc 2 does not start where"],
    );
    assert_says(
        &broken("[[[-1,2]]]", "[[-1,2]]"),
        &["arcs of the shape are wrong"],
    );
    assert_says(
        &broken("[[8,0],[0,8]]", "[[8],[0,8]]"),
        &["fewer than two numbers", "/arcs/0"],
    );
    assert_says(
        &broken(r#""type":"MultiPolygon""#, r#""type":null"#),
        &["no geometry"],
    );
    assert_says(
        &broken(r#""type":"MultiPolygon""#, r#""type":"LineString""#),
        &["found LineString", "/objects/counties/geometries/1"],
    );
    assert_says(
        &broken(r#""scale":[0.5,0.5]"#, r#""scale":[1e300,0.5]"#),
        &["longitude"],
    );
    assert_says(
        &broken(r#""objects""#, r#""things""#),
        &["missing field `objects`"],
    );
}

#[test]
fn a_collapsed_ring_is_dropped_but_never_a_county() {
    let collapsed = "[[5,5],[6,6],[5,5]]";
    let flat = "[[5,5],[6,6],[7,7],[6,6],[5,5]]";
    let whole = square(0.0, 0.0);
    let some = format!(
        r#"{{"type":"MultiPolygon","coordinates":[[{collapsed}],[{flat}],[{whole},{collapsed}]]}}"#
    );
    let region = read(&collection(&[feature(r#"{"id":"a","name":"A"}"#, &some)]))
        .expect("one ring is whole");
    assert_eq!(region.counties()[0].shape.0.len(), 1);
    assert!(region.counties()[0].shape.0[0].interiors().is_empty());
    assert!(region.locate(5.0, 5.0).is_none());

    // The search for hostile files found that an outline that crosses itself may be no larger than its hole.
    let all_hole = format!("{whole},{whole}");
    for nothing in [collapsed, flat, "[]", "", &all_hole] {
        let features = [
            feature(r#"{"id":"a","name":"A"}"#, &polygon(&whole)),
            feature(r#"{"id":"b","name":"Lost"}"#, &polygon(nothing)),
        ];
        assert_says(
            &refusal(&collection(&features)),
            &["Lost (b)", "feature 2 (/features/1)"],
        );
    }
}

#[test]
fn an_open_ring_is_closed() {
    let region = read(&collection(&[feature(
        r#"{"id":"a","name":"A"}"#,
        &polygon("[[0,0],[1,0],[1,1]]"),
    )]))
    .expect("a triangle");
    assert_eq!(region.counties()[0].shape.0[0].exterior().0.len(), 4);
}

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
fn a_boundary_file_tells_its_vintage_source_and_that_it_is_invented() {
    let plain = collection(&[feature(
        r#"{"id":"a","name":"A"}"#,
        &polygon(&square(0.0, 0.0)),
    )]);
    let region = read(&plain).expect("no foreign member");
    assert_eq!((region.vintage(), region.source()), ("not stated", "test"));
    assert_eq!((region.title(), region.invented()), ("", None));
    let region = Region::from_text(&plain, "some/folder/test.geojson", "id", "name");
    let region = region.expect("the same file in a folder");
    assert_eq!(region.source(), "test", "what is published names no folder");

    let members =
        r#"{"title":"Vale","vintage":"2026","source":"drawn","invented":"not a real place","#;
    let region = read(&plain.replacen('{', members, 1)).expect("foreign members");
    assert_eq!((region.title(), region.vintage()), ("Vale", "2026"));
    assert_eq!(
        (region.source(), region.invented()),
        ("drawn", Some("not a real place"))
    );

    let region = read(&plain.replacen('{', r#"{"vintage":2026,"invented":true,"#, 1))
        .expect("members that are not text are passed over");
    assert_eq!((region.vintage(), region.invented()), ("not stated", None));
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
