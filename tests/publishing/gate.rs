//! What the gate stops by name.

use scouting::region::Region;
use serde_json::{Value, json};

use crate::support::issuing::{loaded, visits};
use crate::support::publishing::{issued, publish};
use crate::support::{TestWorkspace, text_of};

/// Bends a file of an issued alert, and sees that publishing stops with this reason and writes nothing.
#[track_caller]
fn stops(issued: &TestWorkspace, name: &str, bend: impl FnOnce(String) -> String, reason: &str) {
    let workspace = issued.copied();
    let path = workspace.path().join("alerts/issued/0002").join(name);
    let text = std::fs::read_to_string(&path).unwrap_or_default();
    let bent = bend(text.clone());
    assert!(bent != text, "nothing was bent");
    std::fs::write(&path, bent).expect("written");
    let place = workspace.beside("public");
    let run = publish(&workspace, &place).expect_code(1);
    assert!(
        run.stderr
            .contains("publishing stopped, nothing was written"),
        "{run:?}"
    );
    assert!(
        run.stderr.contains(&format!("0002/{name}")) && run.stderr.contains(reason),
        "{reason}: {run:?}"
    );
    assert!(!place.exists(), "something was written");
}

/// The map with one feature changed: that of this county.
fn with_feature(map: &str, county: &str, change: impl FnOnce(&mut Value)) -> String {
    let mut map: Value = serde_json::from_str(map).expect("GeoJSON");
    let features = map["features"].as_array_mut().expect("features");
    let feature = features
        .iter_mut()
        .find(|feature| feature["properties"]["county_id"] == county);
    change(feature.expect("a feature of the county"));
    map.to_string()
}

#[test]
fn every_way_to_give_a_farm_away_is_stopped_by_name() {
    let workspace = issued();
    let (csv, map) = ("county_week.csv", "county_week.geojson");
    // A column or property that is not public.
    stops(
        &workspace,
        csv,
        |text| text.replacen("county_id", "field_id", 1),
        "\"field_id\" is no public column",
    );
    stops(
        &workspace,
        map,
        |text| {
            with_feature(&text, "46013", |feature| {
                feature["properties"]["farms"] = json!(4)
            })
        },
        "\"farms\" is no public column",
    );
    stops(
        &workspace,
        map,
        |text| {
            with_feature(&text, "46099", |feature| {
                feature["properties"]["max_pressure"] = json!(1.5)
            })
        },
        "\"max_pressure\" is no public column",
    );
    // A private name, in any file.
    for name in [csv, map, "alert.html", "alert.md"] {
        let put = |text: String| match name {
            n if n == csv => text.replacen("Brown", "F-46013-2", 1),
            n if n == map => with_feature(&text, "46013", |feature| {
                feature["properties"]["county_name"] = json!("F-46013-2")
            }),
            _ => text + "\nwell seen in F-46013-2.",
        };
        stops(
            &workspace,
            name,
            put,
            "\"F-46013-2\", the id of a field, a farm, a scout or a visit",
        );
    }
    for id in ["farm-46013-2", "scout-46013-2", "visit-46013-2-2026-07-21"] {
        stops(&workspace, "alert.md", |text| text + id, id);
    }
    stops(
        &workspace,
        "alert.md",
        |text| text + "F\\-46013\\-2",
        "F-46013-2",
    );
    // A row of a county whose fields are withheld, and a figure of it on the map.
    let with_row = |county: &'static str| {
        move |text: String| {
            let row = text.lines().nth(1).expect("a row");
            let row = row.replacen("46013", county, 1);
            format!("{text}{row}\r\n")
        }
    };
    stops(
        &workspace,
        csv,
        with_row("46099"),
        "the row of 46099 is no public row",
    );
    stops(
        &workspace,
        map,
        |text| {
            with_feature(&text, "46099", |feature| {
                feature["properties"]["fields_visited"] = json!(2)
            })
        },
        "46099 has no figures, and its fields_visited is there",
    );
    stops(
        &workspace,
        map,
        |text| {
            with_feature(&text, "46099", |feature| {
                feature["properties"]["status"] = json!("some-at-threshold");
                feature["properties"]["fields_visited"] = json!(2);
            })
        },
        "the row of 46099 is no public row",
    );
    // A row elsewhere that nobody made public.
    let elsewhere = |text: String| {
        let cells = text.trim_end().split(',').map(|name| match name {
            "place" => "elsewhere in the region",
            "iso_week" => "2026-W30",
            "protocol" => "bsm-eggs",
            "fields_visited" => "2",
            _ => "",
        });
        let row = cells.collect::<Vec<_>>().join(",");
        format!("{text}{row}\r\n")
    };
    stops(
        &workspace,
        "elsewhere_week.csv",
        elsewhere,
        "the row of elsewhere in the region is no public row",
    );
    // Other figures of a county that is shown: one more than was issued, a count that was withheld, a later edition.
    for (name, value) in [
        ("edition", json!(2)),
        ("fields_visited", json!(5)),
        ("at_threshold_min", json!(2)),
        ("at_threshold_max", json!(3)),
        ("median_class", json!("0.5-1")),
        ("mean_pressure", json!(0.8)),
        ("level", json!("strict")),
        ("fields_with_assumed_economics", json!(1)),
        ("fields_outside_stage", json!(1)),
        ("treatment_first_week", json!("2026-W31")),
        ("treatment_last_week", json!("2026-W31")),
        ("window_basis", json!("both")),
    ] {
        stops(
            &workspace,
            map,
            |text| {
                with_feature(&text, "46013", |feature| {
                    feature["properties"][name] = value;
                })
            },
            "the row of 46013 is no public row",
        );
    }
    // A row under another protocol, and a figure of a scenario.
    stops(
        &workspace,
        csv,
        |text| text.replacen("bsm-eggs", "bsm-adults", 1),
        "a row is of the protocol Some(\"bsm-adults\"), and the alert is of \"bsm-eggs\"",
    );
    stops(
        &workspace,
        csv,
        |text| text.replacen("county_id", "scenario", 1),
        "it is from a scenario",
    );
    // A total beside its parts.
    stops(
        &workspace,
        csv,
        with_row("all"),
        "\"all\", which is not a county",
    );
    // The point of a field, and points that are finer than the grid.
    let region = Region::built_in("us:46").expect("South Dakota");
    let field = visits(&region, "46013", 1, "2026-07-21", 1)[0]["field"].clone();
    let point = |lon: &Value, lat: &Value| json!({"type": "Point", "coordinates": [lon, lat]});
    stops(
        &workspace,
        map,
        |text| {
            with_feature(&text, "46013", |feature| {
                feature["geometry"] = point(&field["lon"], &field["lat"])
            })
        },
        "is the point of a field that was visited",
    );
    stops(
        &workspace,
        map,
        |text| {
            with_feature(&text, "46013", |feature| {
                feature["geometry"] = json!({"type": "MultiPoint", "coordinates": [[-99.0, 44.0], [-99.0, 44.08], [-98.0, 44.0]]});
            })
        },
        "are finer than the grid of 10 km",
    );
    // What is no public file, and what is not what was issued.
    stops(
        &workspace,
        "field_week.parquet",
        |_| "x".to_owned(),
        "it was not issued",
    );
    stops(
        &workspace,
        "alert.html",
        |text| text.replace("Alert 2", "Alert two"),
        "it is not what was issued",
    );
    // Points a grid width apart are no finer than the grid: what stops them then is that nobody issued them.
    stops(
        &workspace,
        map,
        |text| {
            with_feature(&text, "46013", |feature| {
                feature["geometry"] = json!({"type": "MultiPoint", "coordinates": [[-99.0, 44.0], [-99.0, 44.09], [-98.87, 44.0]]});
            })
        },
        "it is not what was issued",
    );
    publish(&workspace, &workspace.beside("public")).expect_code(0);
}

#[test]
fn a_note_that_names_a_field_is_not_issued() {
    let (workspace, _) = loaded();
    let note = workspace.write("note.md", "Look at F-46013-2, it is white with moths.");
    let run = workspace.run(&[
        "alert",
        "--week",
        "2026-W30",
        "--note",
        &text_of(&note),
        "--issue",
    ]);
    let run = run.expect_code(1);
    assert!(
        run.stderr.contains("the note: it holds") && run.stderr.contains("F-46013-2"),
        "{run:?}"
    );
    let listed = workspace.run(&["alert", "--list"]).expect_code(0);
    assert_eq!(listed.stdout, "no alert is issued yet\n");
}

/// The files to paste and to send are judged as they are finished: their figures, their cautions, and what they carry besides.
#[test]
fn a_file_to_paste_that_says_otherwise_than_the_rows_is_stopped() {
    let workspace = issued();
    let caution = "The label is the law";
    stops(
        &workspace,
        "email.html",
        |text| text.replacen(">1 or more of 4<", ">none of 4<", 1),
        "it says \"none of 4\" of Brown, which is in no public row",
    );
    stops(
        &workspace,
        "email.html",
        |text| text.replace(caution, "Go ahead"),
        "its caution \"The label is the law\" is missing",
    );
    stops(
        &workspace,
        "short.txt",
        |text| text.replacen("scout your own field", "treat", 1),
        "its caution is not there, or not whole",
    );
    stops(
        &workspace,
        "map.svg",
        |text| text.replacen("Brown", "F-46013-2", 1),
        "F-46013-2",
    );
    stops(
        &workspace,
        "map.png",
        |text| text + "GIF89a",
        "it is no PNG file",
    );
    stops(
        &workspace,
        "alert.pdf",
        |text| text + "GIF89a",
        "it is no PDF file",
    );
}
