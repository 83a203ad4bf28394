//! The map files in the hands of other people's programs: each opens them and draws what they hold.
//! Pictures are left in the folder `maps` of Cargo's folder for tests.

use std::path::{Path, PathBuf};

use serde_json::Value;

use crate::generated::text_of;
use crate::support::{TestWorkspace, bractline, debian_python, node, python};

const WEEK: &str = "2026-W31";
/// Counties of the invented region.
const COUNTIES: usize = 16;

/// The demo, and a week of it rolled up.
struct Published {
    workspace: TestWorkspace,
    week: PathBuf,
}

impl Published {
    fn demo() -> Published {
        let workspace = TestWorkspace::empty();
        bractline(&["demo", &text_of(&workspace.path())]).expect_code(0);
        let settings = workspace.path().join("bractline.toml");
        let text = std::fs::read_to_string(&settings).expect("settings");
        // The demo scouts thinly: at 10 km hardly a cell has three fields.
        let wider = text.replace("point_grid_km = 10.0", "point_grid_km = 20.0");
        assert_ne!(wider, text);
        std::fs::write(&settings, wider).expect("settings");
        let week = workspace.beside("week");
        workspace
            .run(&["rollup", "--week", WEEK, "--out", &text_of(&week)])
            .expect_code(0);
        Published { workspace, week }
    }

    fn features(&self, name: &str) -> Vec<Value> {
        let text = std::fs::read_to_string(self.week.join(name)).expect("a map");
        let map: Value = serde_json::from_str(&text).expect("GeoJSON");
        map["features"].as_array().expect("features").clone()
    }

    fn counties(&self) -> Vec<Value> {
        let counties = self.features("county_week.geojson");
        assert_eq!(counties.len(), COUNTIES);
        counties
    }
}

fn shots() -> PathBuf {
    let folder = Path::new(env!("CARGO_TARGET_TMPDIR")).join("maps");
    std::fs::create_dir_all(&folder).expect("a folder for pictures");
    folder
}

/// Colours of the classes as the alert's page has them, from its stated source: cividis in six steps.
fn expected_fill(properties: &Value) -> &'static str {
    match properties["status"].as_str().expect("a status") {
        "suppressed" => "#ececec",
        "no-visits" | "outside-stage" => "#ffffff",
        "none-found" => "#fffdf0",
        _ => match properties["median_pressure"].as_f64().expect("a median") {
            median if median < 0.25 => "#fee838",
            median if median < 0.5 => "#c8b866",
            median if median < 0.75 => "#948e77",
            median if median < 1.0 => "#666970",
            median if median < 1.5 => "#35456c",
            _ => "#00224e",
        },
    }
}

#[test]
fn the_browser_viewers_draw_every_county_and_ask_no_network() {
    let published = Published::demo();
    let points = published.features("sample_points.geojson").len();
    assert!(points > 3, "{points} points");
    let shots = text_of(&shots());
    let told = node(
        "tests/reference/draw_maps.mjs",
        &[&text_of(&published.week), &shots],
    );
    let told: Value = serde_json::from_str(&told).expect("JSON");
    assert_eq!(told["openlayers"]["counties"], COUNTIES);
    assert_eq!(told["leaflet"]["counties"], COUNTIES);
    assert_eq!(told["leaflet"]["points"], points);
    let drawn = told["maplibre"]["drawn"].as_object().expect("counties");
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
        if properties["median_pressure"]
            .as_f64()
            .is_some_and(|median| median >= 1.0)
        {
            outlined.push(id.to_owned());
        }
    }
    let mut found: Vec<String> =
        serde_json::from_value(told["maplibre"]["outlined"].clone()).expect("ids");
    found.sort();
    assert_eq!(found, outlined);
    assert!(
        !outlined.is_empty(),
        "no county is at threshold: nothing is proved"
    );
}

#[test]
fn qgis_takes_the_style_beside_the_map_and_paints_each_county_in_its_class() {
    let published = Published::demo();
    let map = text_of(&published.week.join("county_week.geojson"));
    let picture = text_of(&shots().join("qgis.png"));
    let told = debian_python("tests/reference/draw_in_qgis.py", &[&map, &picture]);
    let told: Value = serde_json::from_str(&told).expect("JSON");
    assert_eq!(told["features"], COUNTIES);
    assert_eq!(
        (&told["renderer"], &told["rules"]),
        (&"RuleRenderer".into(), &10.into())
    );
    assert_eq!(told["time"], serde_json::json!(["start", "end"]));
    for county in published.counties() {
        let id = county["properties"]["county_id"].as_str().expect("an id");
        let classes = told["classes"][id].as_array().expect("classes");
        assert_eq!(classes.len(), 1, "{id}: {classes:?}");
        // Where there are marks, the middle may lie on one.
        if county["properties"]["status"] == "pressure" {
            assert_eq!(
                told["colours"][id],
                expected_fill(&county["properties"]),
                "{id}"
            );
        }
    }
}

#[test]
fn gdal_geopandas_and_duckdb_read_the_same_from_every_map_file() {
    let published = Published::demo();
    for folder in [
        published.week.clone(),
        published.workspace.path().join("figures"),
    ] {
        let told = python(
            "tests/reference/check_map_files.py",
            &["same", &text_of(&folder)],
        );
        assert!(told.contains("every check passed"), "{told}");
    }
}

#[test]
fn the_page_of_columns_names_every_column_of_every_file() {
    let published = Published::demo();
    let page = std::fs::read_to_string(published.week.join("COLUMNS.md")).expect("the page");
    for name in ["county_week.geojson", "sample_points.geojson"] {
        let features = published.features(name);
        for column in features[0]["properties"]
            .as_object()
            .expect("properties")
            .keys()
        {
            assert!(
                page.contains(&format!("| `{column}` |")),
                "{name}: {column}"
            );
        }
    }
    assert!(page.contains("Invented data") && page.contains("label"));
}
