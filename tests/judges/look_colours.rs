//! The classes of the maps, on the page and in the style files, for eyes that see colors otherwise and in
//! gray print: by a reference library, from the colors that the browser paints and the files hold.

use serde_json::{Value, json};

use crate::judge::{node, python};
use crate::look::{demo_alert, kept};
use crate::support::text_of;

fn legend_of_the_page() -> Value {
    let page = text_of(&demo_alert().join("alert.html"));
    serde_json::from_str(&node("tests/reference/read_legend.mjs", &[&page])).expect("JSON")
}

/// What the judge says of a page with this legend and of the style files beside it.
fn judged(legend: &Value, name: &str) -> Value {
    let file = kept(name);
    std::fs::write(&file, legend.to_string()).expect("the legend");
    let judge = "tests/reference/colour_vision.py";
    let report = python(judge, &[&text_of(&demo_alert()), &text_of(&file)]);
    serde_json::from_str(&report).expect("JSON")
}

const MAPS: [&str; 5] = [
    "page, light",
    "page, dark",
    "page, print",
    "MapLibre",
    "QGIS",
];

#[test]
fn neighboring_classes_stay_apart_for_every_eye_and_in_grey() {
    let report = judged(&legend_of_the_page(), "legend.json");
    for map in MAPS {
        assert_eq!(
            report[map]["close"],
            json!([]),
            "{map}: {:#}",
            report[map]["least"]
        );
        assert_eq!(
            report[map]["grounds"].as_array().map(Vec::len),
            Some(11),
            "{map}"
        );
        for (vision, least) in report[map]["least"].as_object().expect("visions") {
            let floor = if vision == "gray" { 6.0 } else { 10.0 };
            assert!(least.as_f64() >= Some(floor), "{map}, {vision}: {least}");
        }
    }
    // Whoever opens the map in a viewer sees the classes of the page.
    for map in ["MapLibre", "QGIS"] {
        assert_eq!(
            report[map]["grounds"], report["page, light"]["grounds"],
            "{map}"
        );
    }
}

/// Three steps from green to red, and marks that nobody sees, so that an empty list means something.
#[test]
fn the_judge_of_colors_finds_traffic_lights_and_faint_marks() {
    let mut legend = legend_of_the_page();
    let classes = legend["light"].as_array_mut().expect("classes");
    for (place, ground) in [[254, 224, 139], [217, 239, 139], [145, 207, 96]]
        .iter()
        .enumerate()
    {
        classes[place + 2]["ground"] = json!(ground);
    }
    classes[7]["marks"] = classes[7]["ground"].clone();
    classes[8]["shape"] = Value::Null;
    classes[9]["shape"] = Value::Null;
    classes[10]["ground"] = json!([242, 242, 242]);
    let report = judged(&legend, "bent-legend.json");
    let close = report["page, light"]["close"].as_array().expect("a list");
    for says in [
        "deuteranomaly: 0.25 to under 0.5",
        "the marks of 3 or 4 fields, none",
        "another crop stage",
        "and no figures",
        "does not darken",
    ] {
        let named = |fault: &Value| fault.as_str().is_some_and(|fault| fault.contains(says));
        assert!(close.iter().any(named), "{says}: {close:#?}");
    }
    assert_eq!(report["page, dark"]["close"], json!([]));
}
