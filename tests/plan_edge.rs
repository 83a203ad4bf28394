//! `plan edge`: how far in a field is at threshold, from its record through load to the strips; and what has no
//! answer.

use std::f64::consts::PI;

use serde_json::{Value, json};

use crate::support::{TestWorkspace, full_visit, lines};

const LON: f64 = -100.123_45;

const LAT: f64 = 44.123_45;

const SIDE_M: f64 = 800.0;

/// J. Econ. Entomol. 101(3):969-975 (2008): the distance at twice the threshold, recomputed.
const AT_PRESSURE_2_M: f64 = 38.725_1;

/// The corner of a square around the field's point, east and north of it in halves of a side.
fn corner(east: f64, north: f64) -> [f64; 2] {
    // Meters of a degree on WGS 84, Snyder 1987, USGS Professional Paper 1395 (series from memory).
    let latitude = LAT * PI / 180.0;
    let of_lat = 111_132.92 - 559.82 * (2.0 * latitude).cos() + 1.175 * (4.0 * latitude).cos();
    let of_lon = 111_412.84 * latitude.cos() - 93.5 * (3.0 * latitude).cos();
    let half = SIDE_M / 2.0;
    [LON + east * half / of_lon, LAT + north * half / of_lat]
}

/// A visit with one site in the middle of each side, six meters in, and so many eggs on every head of a side. Its
/// threshold is 3: 9.36 / (0.20 × 20,000 × 0.00078).
fn visit_of(field_id: &str, eggs: [u32; 4]) -> Value {
    let mut visit = full_visit(&format!("visit-{field_id}"));
    visit["field"]["field_id"] = field_id.into();
    visit["field"]["lon"] = LON.into();
    visit["field"]["lat"] = LAT.into();
    visit["economics"]["treatment_cost"]["amount"] = json!(9.36);
    visit["economics"]["market_value"]["amount"] = json!(0.20);
    let sides = ["north", "east", "south", "west"];
    let sites = (1..).zip(sides).zip(eggs).map(|((site, side), eggs)| {
        json!({"site": site, "side": side, "heads": vec![[eggs, 0, 0, 0, 0, 0]; 5]})
    });
    visit["sites"] = sites.collect();
    visit
}

fn with_outline(mut visit: Value) -> Value {
    let ring = [
        (-1.0, -1.0),
        (1.0, -1.0),
        (1.0, 1.0),
        (-1.0, 1.0),
        (-1.0, -1.0),
    ];
    let ring = ring.map(|(east, north)| corner(east, north));
    visit["field"]["outline"] = json!({"type": "Polygon", "coordinates": [ring]});
    visit
}

fn loaded(visits: &[Value]) -> TestWorkspace {
    let workspace = TestWorkspace::of_region("us:46");
    let account = workspace.load_text("visits.ndjson", &lines(visits));
    assert_eq!(account["accepted"], visits.len(), "{account:#}");
    workspace
}

fn distances(report: &Value) -> Vec<f64> {
    let sites = report["sites"].as_array().expect("sites").iter();
    sites
        .map(|site| site["economic_distance_m"].as_f64().expect("a number"))
        .collect()
}

fn edge(workspace: &TestWorkspace, field: &str, more: &[&str]) -> Value {
    let asked = ["plan", "edge", "--field", field, "--format", "json"];
    workspace
        .run(&[&asked[..], more].concat())
        .expect_code(0)
        .json()
}

#[test]
fn a_square_at_twice_its_threshold_has_strips_of_the_published_width() {
    let workspace = loaded(&[with_outline(visit_of("F-square", [6; 4]))]);
    let out = workspace.beside("for-the-owner");
    let out_name = out.display().to_string();
    let report = edge(&workspace, "F-square", &["--out", &out_name]);
    for site in report["sites"].as_array().expect("sites") {
        assert_eq!(site["mean"], 6.0);
        assert!(
            (site["pressure"].as_f64().expect("a number") - 2.0).abs() < 1e-12,
            "{site}"
        );
    }
    for distance in distances(&report) {
        assert!((distance - AT_PRESSURE_2_M).abs() < 1e-3, "{distance}");
    }
    let strips = std::fs::read_to_string(out.join("strips.geojson")).expect("strips");
    let strips: Value = serde_json::from_str(&strips).expect("JSON");
    let number = |name: &str| strips[name].as_f64().expect("a number");
    assert!((number("outline_area_ha") - 64.0).abs() < 0.1, "{strips}");
    // 1 − (1 − 2 · 38.7251 / 800)².
    let share = number("area_ha") / number("outline_area_ha");
    assert!((share - 0.184_25).abs() < 1e-3, "{share}");
    assert_eq!(report["area_ha"], strips["area_ha"]);
    assert_eq!(strips["features"].as_array().expect("features").len(), 4);
    let text = |value: &Value| value.as_str().expect("text").to_owned();
    for caution in [text(&strips["caution"]), text(&report["caution"])] {
        for says in [
            "not a treatment recommendation",
            "product's label",
            "bees",
            "licensed local advice",
        ] {
            assert!(caution.contains(says), "{caution}");
        }
    }
    assert!(text(&report["private"]).starts_with("Private: for the field's owner"));
    assert!(text(&strips["private"]).starts_with("Private: for the field's owner"));
    let page = std::fs::read_to_string(out.join("edge.html")).expect("a page to print");
    for says in [
        "Edge of field F-square",
        "127 ft from the edge",
        "Private: for the field&#39;s owner",
        "no strip to spray",
        "The label is the law",
    ] {
        assert!(page.contains(says), "{says}: {page}");
    }
    assert!(!page.contains("http:") && !page.contains("https:") && !page.contains("<script"));
    let table = std::fs::read_to_string(out.join("economic_distance.csv")).expect("a table");
    assert!(table.contains("1,north,6.0,2.0,38.72"), "{table}");

    let run = workspace
        .run(&["plan", "edge", "--field", "F-square"])
        .expect_code(0);
    for says in [
        "127 ft from the edge",
        " acres of 158.",
        "no strip to spray",
        "Private: for the field's owner. Nothing in it is published.",
        "ask licensed local advice before treating",
        "969-975 (2008)",
    ] {
        assert!(run.stdout.contains(says), "{says}: {run:?}");
    }
    workspace.change_setting("system = \"us\"", "system = \"metric\"");
    let run = workspace
        .run(&["plan", "edge", "--field", "F-square"])
        .expect_code(0);
    for says in ["39 m from the edge", "11.79 ha of 64."] {
        assert!(run.stdout.contains(says), "{says}: {run:?}");
    }
}

/// Each site has a pressure of its own: its mean over the threshold of the field, 3.
#[test]
fn each_side_has_the_distance_of_its_own_pressure() {
    let workspace = loaded(&[with_outline(visit_of("F-uneven", [3, 12, 2, 0]))]);
    let report = edge(&workspace, "F-uneven", &[]);
    // Recomputed from the published relation: pressure 1 and 4; below the threshold none.
    let expected = [5.7436, 100.5532, 0.0, 0.0];
    for (distance, expected) in distances(&report).iter().zip(expected) {
        assert!((distance - expected).abs() < 1e-3, "{distance} {expected}");
    }
    // A trapezium cut short by the strip in the north, and the strip in the north: to a hundredth of a hectare by hand.
    let area = report["area_ha"].as_f64().expect("a number");
    assert!(
        (area - (800.0 * 100.5532 + 700.0 * 5.7436) / 10_000.0).abs() < 0.06,
        "{area}"
    );
}

#[test]
fn below_its_threshold_a_field_has_none() {
    let workspace = loaded(&[with_outline(visit_of("F-low", [2, 1, 0, 2]))]);
    let report = edge(&workspace, "F-low", &[]);
    assert_eq!(distances(&report), [0.0; 4]);
    assert_eq!(report["area_ha"], 0.0);
    let run = workspace
        .run(&["plan", "edge", "--field", "F-low"])
        .expect_code(0);
    assert_eq!(run.stdout.matches("below threshold").count(), 4, "{run:?}");
    assert!(run.stdout.contains(": 0.00 acres of 158."), "{run:?}");
}

#[test]
fn without_an_outline_there_are_distances_and_no_strips() {
    let workspace = loaded(&[visit_of("F-point", [6; 4])]);
    let out = workspace.beside("for-the-owner");
    let out_name = out.display().to_string();
    let report = edge(&workspace, "F-point", &["--out", &out_name]);
    assert!((distances(&report)[0] - AT_PRESSURE_2_M).abs() < 1e-3);
    assert_eq!(report["area_ha"], Value::Null);
    let notes = report["notes"].to_string();
    assert!(
        notes.contains("no outline: strips cannot be drawn"),
        "{notes}"
    );
    assert!(!out.join("strips.geojson").exists());
    assert!(out.join("economic_distance.csv").exists());
}

#[test]
fn a_side_that_a_spreadsheet_would_run_is_text_in_the_table() {
    let mut visit = visit_of("F-formula", [6; 4]);
    visit["sites"][0]["side"] = "=1+1".into();
    let workspace = loaded(&[visit]);
    let out = workspace.beside("for-the-owner");
    let out_name = out.display().to_string();
    let report = edge(&workspace, "F-formula", &["--out", &out_name]);
    assert_eq!(report["sites"][0]["side"], "=1+1", "JSON is no spreadsheet");
    let table = std::fs::read_to_string(out.join("economic_distance.csv")).expect("a table");
    assert!(table.contains("\r\n1,'=1+1,"), "{table}");
}

#[test]
fn the_newest_revision_and_the_week_asked_for_count() {
    let first = with_outline(visit_of("F-twice", [6; 4]));
    let mut corrected = first.clone();
    corrected["revision"] = json!(2);
    corrected["sites"][0]["heads"] = json!(vec![[12, 0, 0, 0, 0, 0]; 5]);
    let mut later = with_outline(visit_of("F-twice", [1; 4]));
    later["visit_id"] = "visit-later".into();
    later["observed_on"] = "2026-07-28".into();
    later["submitted_at"] = "2026-07-28T18:00:00Z".into();
    let workspace = loaded(&[corrected, first, later]);
    let report = edge(&workspace, "F-twice", &["--week", "2026-W30"]);
    assert!(
        (distances(&report)[0] - 100.5532).abs() < 1e-3,
        "{report:#}"
    );
    assert!(
        (distances(&report)[1] - AT_PRESSURE_2_M).abs() < 1e-3,
        "{report:#}"
    );
    let newest = edge(&workspace, "F-twice", &[]);
    assert_eq!(
        (&newest["iso_week"], distances(&newest)),
        (&json!("2026-W31"), vec![0.0; 4])
    );
}

#[test]
fn what_is_not_there_is_refused_with_the_way_to_find_it() {
    let workspace = loaded(&[visit_of("F-point", [6; 4])]);
    for (arguments, what, mend) in [
        (
            &["--field", "F-nobody"][..],
            "F-nobody has no visit",
            "field_week.parquet",
        ),
        (
            &["--field", "F-point", "--week", "2026-W29"],
            "no visit within the stage window in 2026-W29",
            "field_week.parquet",
        ),
        (
            &["--field", "F-point", "--protocol", "rssw"],
            "rssw says nothing of how density falls from the edge",
            "protocols show bsm-eggs",
        ),
        (
            &["--field", "F-point", "--protocol", "beetles"],
            "no protocol \"beetles\"",
            "the catalog has",
        ),
    ] {
        let run = workspace
            .run(&[&["plan", "edge"], arguments].concat())
            .expect_code(1);
        assert!(run.stderr.contains(what), "{run:?}");
        assert!(run.stderr.contains("\nwhere: "), "{run:?}");
        let mended = run
            .stderr
            .split("\nhelp:  ")
            .nth(1)
            .expect("how to correct it");
        assert!(mended.contains(mend), "{run:?}");
        assert_eq!(run.stdout, "");
    }
}

/// A count after a treatment says nothing of how far in the pressure reaches: the earlier week without one is used.
#[test]
fn a_visit_after_a_treatment_is_passed_over() {
    let untreated = visit_of("F-treated", [6; 4]);
    let mut treated = untreated.clone();
    treated["visit_id"] = "after".into();
    treated["observed_on"] = "2026-07-28".into();
    treated["submitted_at"] = "2026-07-28T18:00:00Z".into();
    treated["treated_on"] = "2026-07-24".into();
    treated["treatment"] = "insecticide".into();
    let workspace = loaded(&[untreated, treated]);
    assert_eq!(edge(&workspace, "F-treated", &[])["iso_week"], "2026-W30");
    let asked = ["plan", "edge", "--field", "F-treated", "--week", "2026-W31"];
    let run = workspace.run(&asked).expect_code(1);
    assert!(
        run.stderr.contains("in 2026-W31 that follows no treatment"),
        "{run:?}"
    );
}
