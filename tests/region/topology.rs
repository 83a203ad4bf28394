//! TopoJSON: arcs, holes and damage.

use geo::Area;

use super::{assert_says, read, refusal};

/// Two counties that share an arc, the second walking it backwards, and a hole in the first.
/// Quantized: one step is half a degree, from (10, 20).
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
    let region = read(text).expect("not quantized");
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
