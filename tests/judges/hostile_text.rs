//! Hostile texts as far as a browser and a feed reader.

use std::path::{Path, PathBuf};

use scouting::region::Region;
use serde_json::{Value, json};

use crate::judge::{node, python};
use crate::support::hostile_text::attacks;
use crate::support::issuing::visits;
use crate::support::{TestWorkspace, bractline, lines, text_of};

/// A region of sixteen counties with such names and one that is 10,000 letters long.
fn region_file(workspace: &TestWorkspace) -> PathBuf {
    let sample = std::fs::read("sample_data/region.geojson").expect("the sample");
    let mut region: Value = serde_json::from_slice(&sample).expect("GeoJSON");
    let mut names = attacks();
    names.push("n".repeat(10_000));
    let all = attacks().concat();
    for member in ["title", "source", "vintage", "invented"] {
        region[member] = format!("{member} {all}").into();
    }
    let features = region["features"].as_array_mut().expect("features");
    assert_eq!(features.len(), names.len());
    for (feature, name) in features.iter_mut().zip(names) {
        feature["properties"]["county_name"] = name.into();
    }
    workspace.write("region.geojson", region.to_string())
}

/// The protocol with such text in whatever is shown to readers.
fn protocol_text() -> String {
    let text = std::fs::read_to_string("pipeline/protocols/bsm-eggs.toml").expect("the protocol");
    let mut protocol: toml::Table = text.parse().expect("TOML");
    let all = attacks().concat();
    let spoil = |of: &mut toml::Value| {
        let said = of.as_str().expect("text");
        *of = format!("{said} {all}").into();
    };
    for name in ["title", "pest", "crop", "counted"] {
        spoil(protocol.get_mut(name).expect("a member"));
    }
    for (table, name) in [
        ("sample", "plan"),
        ("sample", "source"),
        ("stages", "source"),
        ("threshold", "formula"),
        ("threshold", "source"),
        ("timing", "treat"),
        ("timing", "source"),
    ] {
        spoil(protocol[table].get_mut(name).expect("a member"));
    }
    for caution in protocol["caution"].as_array_mut().expect("cautions") {
        for name in ["text", "source"] {
            spoil(caution.get_mut(name).expect("a member"));
        }
    }
    toml::to_string(&protocol).expect("TOML")
}

/// Four fields in each county, every member that holds text of one's own with an attack in it.
fn hostile_visits(region: &Region) -> Vec<Value> {
    let mut all = Vec::new();
    let attacks = attacks();
    for (place, county) in region.counties().iter().enumerate() {
        let attack = &attacks[place % attacks.len()];
        for mut visit in visits(region, &county.id, 4, "2026-07-21", place % 5) {
            for member in ["visit_id", "observer_id"] {
                let own = visit[member].as_str().expect("text").to_owned();
                visit[member] = format!("{attack}{own}QXQ").into();
            }
            for member in ["field_id", "farm_id"] {
                let own = visit["field"][member].as_str().expect("text").to_owned();
                visit["field"][member] = format!("{attack}{own}QXQ").into();
            }
            visit["remarks"] = format!("QXQ {attack}").repeat(10).into();
            visit["sites"][0]["side"] = "north".into();
            all.push(visit);
        }
    }
    all
}

#[test]
fn nothing_runs_is_fetched_or_moves_in_a_browser() {
    let workspace = TestWorkspace::empty();
    let boundaries = region_file(&workspace);
    let (path, file) = (text_of(&workspace.path()), text_of(&boundaries));
    let labels = [
        "--id-property",
        "county_id",
        "--name-property",
        "county_name",
    ];
    bractline(&[&["init", &path, "--region", &file], &labels[..]].concat()).expect_code(0);
    std::fs::write(
        workspace.path().join("protocols/bsm-eggs.toml"),
        protocol_text(),
    )
    .expect("written");
    let all = attacks().concat();
    let settings = workspace.path().join("bractline.toml");
    let mut text = std::fs::read_to_string(&settings).expect("settings");
    for member in ["title", "name", "contact"] {
        let hostile = format!("{member} = {}", toml::Value::from(all.as_str()));
        let plain = format!("{member} = \"\"");
        assert!(text.contains(&plain), "{member}");
        text = text.replacen(&plain, &hostile, 1);
    }
    std::fs::write(settings, text).expect("settings");
    let region = Region::from_file(&boundaries, "county_id", "county_name").expect("the region");
    let visits = hostile_visits(&region);
    let account = workspace.load_text("visits.ndjson", &lines(&visits));
    assert_eq!(account["accepted"], visits.len(), "{account:.2000}");
    let note = workspace.write(
        "note.md",
        format!(
            "# Note\n\n{}\n\n{}\n",
            attacks().join("\n\n"),
            "n".repeat(10_000)
        ),
    );
    let issue = [
        "alert",
        "--week",
        "2026-W30",
        "--issue",
        "--note",
        &text_of(&note),
    ];
    workspace.run(&issue).expect_code(0);
    let mut late = visits[..8].to_vec();
    for visit in &mut late {
        visit["revision"] = json!(2);
        visit["sites"][0]["heads"][0][0] = json!(60);
    }
    workspace.load_text("late.ndjson", &lines(&late));
    workspace.run(&["alert", "--reissue", "1"]).expect_code(0);
    let place = workspace.beside("public");
    workspace
        .run(&["publish", "--to", &text_of(&place)])
        .expect_code(0);

    let files = [
        "index.html",
        "0001/alert.html",
        "0002/alert.html",
        "feed.xml",
    ]
    .map(|name| text_of(&place.join(name)));
    let files: Vec<&str> = files.iter().map(String::as_str).collect();
    let report = node("tests/reference/open_hostile.mjs", &files);
    let report: Value = serde_json::from_str(&report).expect("JSON");
    let faults: Vec<String> = files
        .iter()
        .flat_map(|file| faults_of(file, &report[file]))
        .collect();
    assert!(faults.is_empty(), "{}", faults.join("\n"));
    python("tests/reference/check_feed.py", &[files[3]]);
    assert_no_visit_text(&place);
}

/// What of a page or feed is more than text.
fn faults_of(file: &str, of: &Value) -> Vec<String> {
    let name = file.rsplit("public/").next().unwrap_or(file);
    let mut faults = Vec::new();
    for kind in ["wrong", "active"] {
        for fault in of[kind].as_array().expect("a list") {
            faults.push(format!("{name}, {kind}: {fault}"));
        }
    }
    if of["errors"] != 0 {
        faults.push(format!("{name} is not well-formed"));
    }
    let text = of["text"].as_str().expect("text");
    if !text.contains("<script>struck('tag')</script>") {
        faults.push(format!("{name} does not show the text as text"));
    }
    let moving = |letter: char| {
        matches!(
            letter,
            '\u{202a}'..='\u{202e}' | '\u{2028}' | '\u{2029}' | '\u{200e}' | '\u{200f}'
        )
    };
    for line in text.lines().filter(|line| line.contains(moving)) {
        let shown: String = line.chars().take(80).collect();
        faults.push(format!("{name} turns or breaks a line: {shown:?}"));
    }
    // A name among others that opens an isolate and does not close it takes the rest of its line along.
    let (opened, closed) = (
        text.matches(['\u{2066}', '\u{2067}', '\u{2068}']).count(),
        text.matches('\u{2069}').count(),
    );
    if opened != closed {
        faults.push(format!(
            "{name}: {opened} isolates are opened and {closed} closed"
        ));
    }
    if name.ends_with(".html") && of["wide"].as_u64() > Some(360) {
        faults.push(format!("{name} is {} wide on a phone", of["wide"]));
    }
    faults
}

/// No file of the public place holds what a visit says of itself, its field or its observer.
fn assert_no_visit_text(place: &Path) {
    for (name, bytes) in crate::support::folder_bytes(place) {
        let found = bytes.windows(3).any(|three| three == b"QXQ");
        assert!(!found, "{name}");
    }
}
