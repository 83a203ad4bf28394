//! GeoJSON: ids, rings and the county that a point is in.

use scouting::region::Region;

use super::{assert_says, collection, feature, polygon, read, refusal, square};

/// Two squares side by side; they share the border at longitude 1.
fn two_squares() -> Region {
    read(&collection(&[
        feature(r#"{"id":"b","name":"West"}"#, &polygon(&square(0.0, 0.0))),
        feature(r#"{"id":"a","name":"East"}"#, &polygon(&square(1.0, 0.0))),
    ]))
    .expect("two squares are a region")
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
