//! The map files, opened and drawn by viewers of others.

use std::path::{Path, PathBuf};

use serde_json::Value;

use crate::judge::{debian_python, node, python};
use crate::support::maps::Published;
use crate::support::{TestWorkspace, text_of};

/// Counties of the invented region.
const COUNTIES: usize = 16;

impl Published {
    fn counties(&self) -> Vec<Value> {
        let counties = self.features("county_week.geojson");
        assert_eq!(counties.len(), COUNTIES);
        counties
    }
}

fn has_field_at_threshold(properties: &Value) -> bool {
    properties["at_threshold_min"].as_i64() > Some(0)
}

fn shots() -> PathBuf {
    let folder = Path::new(env!("CARGO_TARGET_TMPDIR")).join("maps");
    std::fs::create_dir_all(&folder).expect("a folder for pictures");
    folder
}

/// Colors of the classes as the alert's page has them, from its stated source: ColorBrewer's BuPu, interpolated.
fn expected_fill(properties: &Value) -> &'static str {
    match properties["status"].as_str().expect("a status") {
        "no-figures" => "#dcdcdc",
        "none-at-threshold" | "some-at-threshold" | "other-stage" => "#fff",
        "nothing-found" => "#fff",
        _ => match properties["median_class"].as_str().expect("a class") {
            "0-0.25" => "#b5cce2",
            "0.25-0.5" => "#97add2",
            "0.5-1" => "#8c8dc2",
            "1-1.5" => "#873c9a",
            "1.5-3" => "#770c72",
            "3+" => "#4d004b",
            other => panic!("no class {other}"),
        },
    }
}

#[test]
fn the_browser_viewers_draw_every_county_and_ask_no_network() {
    let workspace = TestWorkspace::empty();
    let published = Published::demo(&workspace);
    let points = published.features("sample_points.geojson").len();
    assert!(points > 3, "{points} points");
    let shots = text_of(&shots());
    let report = node(
        "tests/reference/draw_maps.mjs",
        &[&text_of(&published.week), &shots],
    );
    let report: Value = serde_json::from_str(&report).expect("JSON");
    assert_eq!(report["openlayers"]["counties"], COUNTIES);
    assert_eq!(report["leaflet"]["counties"], COUNTIES);
    assert_eq!(report["leaflet"]["points"], points);
    let drawn = report["maplibre"]["drawn"].as_object().expect("counties");
    assert_eq!(drawn.len(), COUNTIES);
    let style = std::fs::read_to_string(published.week.join("county_week.style.json"));
    let style: Value = serde_json::from_str(&style.expect("the style")).expect("JSON");
    let mut outlined = Vec::new();
    for county in published.counties() {
        let properties = &county["properties"];
        let id = properties["county_id"].as_str().expect("an id");
        let layers = drawn[id]["layers"].as_array().expect("layers");
        assert!(
            layers.iter().all(|layer| *layer == layers[0]),
            "{id}: {layers:?}"
        );
        let of_style = style["layers"].as_array().expect("layers");
        let layer = of_style.iter().find(|layer| layer["id"] == layers[0]);
        let fill = &layer.expect("a layer of the style")["paint"]["fill-color"];
        assert_eq!(fill, expected_fill(properties), "{id}");
        if has_field_at_threshold(properties) {
            outlined.push(id.to_owned());
        }
    }
    let mut found: Vec<String> =
        serde_json::from_value(report["maplibre"]["outlined"].clone()).expect("ids");
    found.sort();
    assert_eq!(found, outlined);
    assert!(
        !outlined.is_empty(),
        "no county has a field at threshold: nothing is proved"
    );
}

#[test]
fn qgis_takes_the_style_beside_the_map_and_paints_each_county_in_its_class() {
    let workspace = TestWorkspace::empty();
    let published = Published::demo(&workspace);
    let map = text_of(&published.week.join("county_week.geojson"));
    let picture = text_of(&shots().join("qgis.png"));
    let report = debian_python("tests/reference/draw_in_qgis.py", &[&map, &picture]);
    let report: Value = serde_json::from_str(&report).expect("JSON");
    assert_eq!(report["features"], COUNTIES);
    assert_eq!(
        (&report["renderer"], &report["rules"]),
        (&"RuleRenderer".into(), &12.into())
    );
    let protocols = report["protocols"].as_array().expect("protocols");
    assert_eq!(protocols.len(), 1);
    let title = protocols[0][0].as_str().expect("a title");
    assert!(title.ends_with("(bsm-eggs)") && title.len() > 20, "{title}");
    assert_eq!(report["time"], serde_json::json!(["start", "end"]));
    let outline = "thick outline: at least one field at threshold";
    for county in published.counties() {
        let properties = &county["properties"];
        let id = properties["county_id"].as_str().expect("an id");
        let drawn = report["classes"][id].as_array().expect("classes");
        let classes = drawn.iter().filter(|class| **class != outline);
        assert_eq!(classes.count(), 1, "{id}: {drawn:?}");
        let is_outlined = drawn.iter().any(|class| *class == outline);
        assert_eq!(is_outlined, has_field_at_threshold(properties), "{id}");
        // Where there are marks, the middle may be on one.
        let marked = ["none-at-threshold", "some-at-threshold", "other-stage"];
        if !marked.iter().any(|status| properties["status"] == *status) {
            assert_eq!(report["colors"][id], expected_fill(properties), "{id}");
        }
    }
}

#[test]
fn gdal_geopandas_and_duckdb_read_the_same_from_every_map_file() {
    let workspace = TestWorkspace::empty();
    let published = Published::demo(&workspace);
    let whole = workspace.beside("whole");
    workspace
        .run(&["rollup", "--out", &text_of(&whole)])
        .expect_code(0);
    for folder in [published.week.clone(), whole.join("public")] {
        let report = python(
            "tests/reference/check_map_files.py",
            &["same", &text_of(&folder)],
        );
        assert!(report.contains("every check passed"), "{report}");
    }
}
