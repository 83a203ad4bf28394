//! The public place: the feed as others read it, a bucket, and hostile text in page, mail and list.

use std::collections::BTreeMap;
use std::io::{BufRead, BufReader, Write};
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};

use scouting::region::Region;
use serde_json::Value;

use crate::judge::python;
use crate::support::issuing::visits;
use crate::support::publishing::{issued, publish};
use crate::support::{TestWorkspace, folder_bytes, lines, program, text_of};

#[test]
fn the_feed_is_atom_as_others_read_it() {
    let workspace = issued();
    let relative = workspace.beside("relative");
    publish(&workspace, &relative).expect_code(0);
    workspace.change_setting(
        "base_url = \"\"",
        "base_url = \"https://example.org/alerts/\"",
    );
    workspace.change_setting("author = \"\"", "author = \"Office of the Example\"");
    let absolute = workspace.beside("absolute");
    publish(&workspace, &absolute).expect_code(0);
    let report = |place: &Path| -> Value {
        let report = python(
            "tests/reference/check_feed.py",
            &[&text_of(&place.join("feed.xml"))],
        );
        serde_json::from_str(&report).expect("JSON")
    };
    let (relative, absolute) = (report(&relative), report(&absolute));
    let ids = |feed: &Value| -> Vec<Value> {
        let entries = feed["entries"].as_array().expect("entries").iter();
        entries
            .map(|entry| entry["id"].clone())
            .chain([feed["id"].clone()])
            .collect()
    };
    // A name is for ever: it stays when the address changes.
    assert_eq!(ids(&relative), ids(&absolute));
    assert_eq!(absolute["author"], "Office of the Example");
    assert_eq!(absolute["self"], "https://example.org/alerts/feed.xml");
    let entries = absolute["entries"].as_array().expect("entries");
    assert_eq!(
        entries[0]["link"],
        "https://example.org/alerts/0003/alert.html"
    );
    assert_eq!(relative["entries"][0]["link"], "0003/alert.html");
    assert_eq!(entries[0]["updated"], absolute["updated"]);
    // The alert that was replaced says so, from the time of its update on.
    assert_eq!(entries[2]["updated"], entries[0]["updated"]);
    assert!(
        entries[2]["title"]
            .as_str()
            .is_some_and(|title| title.starts_with("[replaced by alert 3] "))
    );
    assert!(
        entries[0]["summary"]
            .as_str()
            .is_some_and(|text| text.starts_with("Update of alert 1. "))
    );
    let listed = workspace
        .run(&["alert", "--list", "--format", "json"])
        .json();
    let issued_at = listed["alerts"][1]["issued_at"].as_str().expect("a time");
    let updated = entries[1]["updated"].as_str().expect("a time");
    assert_eq!(issued_at[..19], updated[..19]);
}

#[test]
fn a_bucket_gets_the_same_files_as_a_folder() {
    let workspace = issued();
    let folder = workspace.beside("public");
    publish(&workspace, &folder).expect_code(0);
    let venv = std::env::var_os("BRACTLINE_VENV").map_or_else(
        || Path::new(&std::env::var_os("HOME").expect("HOME is set")).join(".cache/bractline/venv"),
        PathBuf::from,
    );
    let mut stand_in = Command::new(venv.join("bin/python"))
        .arg("tests/reference/bucket.py")
        .current_dir(env!("CARGO_MANIFEST_DIR"))
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .spawn()
        .expect("the stand-in of a bucket starts");
    let mut said = BufReader::new(stand_in.stdout.take().expect("its words")).lines();
    let mut next = || said.next().expect("a line").expect("UTF-8");
    let endpoint = next();
    let publish_there = || -> Value {
        let output = program()
            .args([
                "--workspace",
                &text_of(&workspace.path()),
                "publish",
                "--to",
                "s3://alerts/public/2026",
            ])
            .args(["--format", "json"])
            .envs([
                ("AWS_ENDPOINT", endpoint.as_str()),
                ("AWS_REGION", "us-east-1"),
                ("AWS_ACCESS_KEY_ID", "none"),
                ("AWS_SECRET_ACCESS_KEY", "none"),
                ("AWS_ALLOW_HTTP", "true"),
            ])
            .output()
            .expect("the program starts");
        assert!(output.status.success(), "{output:?}");
        serde_json::from_slice(&output.stdout).expect("JSON")
    };
    assert_eq!(
        publish_there()["written"].as_array().map(Vec::len),
        Some(34)
    );
    assert_eq!(publish_there()["unchanged"], 34);
    // What the bucket holds, as another client reads it.
    let mut ask = stand_in.stdin.take().expect("its ear");
    writeln!(ask, "list").expect("it listens");
    let held: BTreeMap<String, [String; 2]> = serde_json::from_str(&next()).expect("JSON");
    let files = folder_bytes(&folder);
    assert_eq!(held.len(), files.len());
    for (name, bytes) in &files {
        let [sha256, kind] = &held[&format!("public/2026/{name}")];
        assert_eq!(*sha256, sha256_of(bytes), "{name}");
        let web = match name.rsplit('.').next() {
            Some("html") => "text/html; charset=utf-8",
            Some("geojson") => "application/geo+json",
            Some("csv") => "text/csv; charset=utf-8",
            Some("md") => "text/markdown; charset=utf-8",
            Some("qml") => "application/xml",
            Some("json") => "application/json",
            _ => "application/atom+xml; charset=utf-8",
        };
        assert_eq!(kind, web, "{name}");
    }
    drop(ask);
    stand_in.wait().expect("it ends when nobody asks any more");
}

fn sha256_of(bytes: &[u8]) -> String {
    use sha2::{Digest, Sha256};
    let hash = Sha256::digest(bytes);
    hash.iter().map(|byte| format!("{byte:02x}")).collect()
}

// ---- hostile text ----

#[test]
fn hostile_text_reaches_page_mail_feed_and_list_as_inert_text() {
    let workspace = TestWorkspace::empty();
    let mut region: Value =
        serde_json::from_slice(&std::fs::read("sample_data/region.geojson").expect("the sample"))
            .expect("GeoJSON");
    let attack = "</title></svg><script>alert(1)</script>";
    let long = "n".repeat(10_000);
    let names = [
        attack,
        "\u{202e}drawkcab\u{2066}",
        &long,
        "🌻👩\u{200d}🌾 *b* [x](javascript:alert(1)) | `c`",
        "# ![p](https://example.org/p.png) &lt;b&gt;",
    ];
    let features = region["features"].as_array_mut().expect("features");
    let ids: Vec<String> = features
        .iter_mut()
        .zip(names)
        .map(|(feature, name)| {
            feature["properties"]["county_name"] = name.into();
            feature["properties"]["county_id"]
                .as_str()
                .expect("an id")
                .to_owned()
        })
        .collect();
    let boundaries = workspace.write("region.json", region.to_string());
    let path = text_of(&workspace.path());
    crate::support::bractline(&[
        "init",
        &path,
        "--region",
        &text_of(&boundaries),
        "--id-property",
        "county_id",
        "--name-property",
        "county_name",
    ])
    .expect_code(0);
    let protocol =
        std::fs::read_to_string("pipeline/protocols/bsm-eggs.toml").expect("the protocol");
    let title = protocol
        .lines()
        .find(|line| line.starts_with("title"))
        .expect("a title");
    let hostile = protocol.replace(
        title,
        &format!("title = \"<script>alert(2)</script>\\u202e *x* {long}\""),
    );
    std::fs::write(workspace.path().join("protocols/bsm-eggs.toml"), hostile).expect("written");
    let counties = Region::from_file(&boundaries, "county_id", "county_name").expect("the region");
    let mut all = Vec::new();
    for (place, id) in ids.iter().enumerate() {
        all.extend(visits(&counties, id, 4, "2026-07-21", place));
    }
    for visit in &mut all {
        visit["remarks"] = format!("{attack} REMARKQX \u{202e}").into();
    }
    workspace.load_text("visits.ndjson", &lines(&all));
    workspace.change_setting("title = \"\"", "title = \"<b>T</b> & \\u202e\"");
    workspace.change_setting("name = \"\"", "name = \"O'Office <script>\"");
    let note = workspace.write("note.md", format!("# N <b>\n\n{attack}\n\n![i](https://example.org/i.png) [j](javascript:alert(3)) \u{202e} 🌻 {long}\n"));
    let issue = [
        "alert",
        "--week",
        "2026-W30",
        "--note",
        &text_of(&note),
        "--issue",
    ];
    workspace.run(&issue).expect_code(0);
    workspace.run(&["alert", "--as-issued", "1"]).expect_code(0);
    let place = workspace.beside("public");
    publish(&workspace, &place).expect_code(0);
    for (name, bytes) in folder_bytes(&place) {
        let mut text = String::from_utf8(bytes).expect("UTF-8");
        assert!(!text.contains("REMARKQX"), "{name}");
        if name.ends_with("/alert.html") {
            text = without_its_script(&text);
            std::fs::write(place.join(&name), &text).expect("written");
        }
        if name.ends_with(".html") || name.ends_with(".xml") {
            for active in ["<script", "<b>", "<img", "href=\"javascript", "src=\"http"] {
                assert!(!text.contains(active), "{name}: {active}");
            }
        }
        if !name.ends_with(".csv") && !name.ends_with(".geojson") {
            for unseen in ['\u{202e}', '\u{2066}'] {
                assert!(!text.contains(unseen), "{name}: {unseen:?}");
            }
        }
        if name.ends_with(".md") {
            assert_eq!(active_in_markdown(&text), Vec::<String>::new(), "{name}");
        }
    }
    python(
        "tests/reference/check_feed.py",
        &[&text_of(&place.join("feed.xml"))],
    );
    for page in ["index.html", "0001/alert.html", "latest/index.html"] {
        let report = python(
            "tests/reference/check_feed.py",
            &["--page", &text_of(&place.join(page))],
        );
        assert_eq!(report.trim(), "no active element", "{page}");
    }
}

/// A page without the one script that it has from us; whatever script is left came from elsewhere.
fn without_its_script(page: &str) -> String {
    let script = include_str!("../../src/shared/templates/sort_table.js");
    let element = format!("<script>{script}</script>");
    assert_eq!(page.matches(&element).count(), 1);
    page.replace(&element, "")
}

/// What of a Markdown text would be more than text, in CommonMark and in every extension that is known.
fn active_in_markdown(text: &str) -> Vec<String> {
    use pulldown_cmark::{Event, Options, Parser, Tag};
    let events = Parser::new_ext(text, Options::all());
    let active = events.filter(|event| {
        matches!(
            event,
            Event::Html(_)
                | Event::InlineHtml(_)
                | Event::Start(Tag::Image { .. } | Tag::Link { .. })
        )
    });
    active.map(|event| format!("{event:?}")).collect()
}
