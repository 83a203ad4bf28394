//! The alert's page as its readers see it: on a phone, a desk and paper, light and dark, in a real browser.
//! Pictures of every view are left in the folder `look` of Cargo's folder for tests.

use std::path::{Path, PathBuf};
use std::sync::OnceLock;

use bractline::demo::{SampleLines, SampleOptions};
use scouting::region::Region;
use serde_json::{Value, json};

use crate::judge::node;
use crate::support::generated::{load, submissions};
use crate::support::{TestWorkspace, bractline, text_of};

/// The week whose alert the demo makes.
pub const WEEK: &str = "2026-W32";

/// The folder of the demo's alert. Several modules open it and none changes it, so it is made once.
pub fn demo_alert() -> PathBuf {
    static DEMO: OnceLock<PathBuf> = OnceLock::new();
    let demo = DEMO.get_or_init(|| {
        let folder = kept("demo");
        if folder.exists() {
            std::fs::remove_dir_all(&folder).expect("the demo of the last run goes");
        }
        bractline(&["demo", &text_of(&folder)]).expect_code(0);
        folder
    });
    demo.join("alerts").join(WEEK).join("bsm-eggs")
}

/// A place for what somebody may want to look at after the tests.
pub fn kept(name: &str) -> PathBuf {
    let folder = Path::new(env!("CARGO_TARGET_TMPDIR")).join("look");
    std::fs::create_dir_all(&folder).expect("a folder for pictures");
    folder.join(name)
}

/// What a browser sees of a page in every view.
fn look_at(page: &Path, name: &str) -> Value {
    seen(page, name, &[])
}

/// What it sees on a phone, in a wide dark window and on paper.
pub fn glance_at(page: &Path, name: &str) -> Value {
    seen(page, name, &["few"])
}

fn seen(page: &Path, name: &str, views: &[&str]) -> Value {
    let (page, shots) = (text_of(page), text_of(&kept(name)));
    let arguments = [&[page.as_str(), &shots], views].concat();
    let report = node("tests/reference/look_at_page.mjs", &arguments);
    serde_json::from_str(&report).expect("JSON")
}

/// What is wrong in any view, each with the view and the kind of fault. Of axe's findings those that
/// keep somebody from reading: serious and critical ones.
fn faults(report: &Value) -> Vec<String> {
    let mut all = Vec::new();
    for (view, kinds) in report["views"].as_object().expect("views") {
        for (kind, faults) in kinds.as_object().expect("kinds") {
            for fault in faults.as_array().expect("faults") {
                let fault = fault.as_str().expect("words");
                let light = kind == "axe"
                    && !fault.starts_with("serious")
                    && !fault.starts_with("critical");
                if !light {
                    all.push(format!("{view}, {kind}: {fault}"));
                }
            }
        }
    }
    all
}

#[track_caller]
pub fn assert_good(report: &Value) {
    let faults = faults(report);
    assert!(faults.is_empty(), "{}", faults.join("\n"));
    for (format, paper) in report["paper"].as_object().expect("papers") {
        for kind in ["cut", "missing", "quiet"] {
            assert_eq!(paper[kind], json!([]), "{format}, {kind}");
        }
    }
    assert_eq!(report["texts"]["with"], report["texts"]["without"]);
}

#[track_caller]
fn assert_pages(report: &Value, most: u64) {
    for format in ["A4", "Letter"] {
        let paper = &report["paper"][format];
        let pages = paper["pages"].as_u64().expect("a number");
        assert!(
            pages <= most,
            "{pages} pages of {format}; the last begins {}",
            paper["last"]
        );
    }
}

#[test]
fn the_page_is_whole_and_quiet_at_every_width_light_and_dark_and_on_paper() {
    let report = look_at(&demo_alert().join("alert.html"), "page");
    assert_eq!(
        report["views"].as_object().map(|views| views.len()),
        Some(8)
    );
    assert_good(&report);
    assert_pages(&report, 2);
}

/// A correction with a note has more on it than any other page.
#[test]
fn a_correction_with_a_note_is_as_good_to_read() {
    let (workspace, _) = crate::support::issuing::loaded();
    let note = workspace.write(
        "note.md",
        "## From the field\n\nMoths *fly* at dusk.\n\n- Look at the **edge**\n- then at the middle\n\n\
         1. a first thing\n2. a second\n\n> said elsewhere\n\n    a line of code that is a good deal longer than a phone is wide, and then some\n",
    );
    let note = text_of(&note);
    workspace
        .run(&["alert", "--week", "2026-W30", "--issue"])
        .expect_code(0);
    let region = Region::built_in("us:46").expect("South Dakota");
    let late = crate::support::issuing::visits(&region, "46099", 5, "2026-07-22", 3);
    workspace.load_text("late.ndjson", &crate::support::lines(&late));
    workspace
        .run(&["alert", "--reissue", "1", "--note", &note])
        .expect_code(0);
    let page = workspace.path().join("alerts/issued/0002/alert.html");
    let text = std::fs::read_to_string(&page).expect("the page");
    assert!(text.contains("From the field") && text.contains("Correction."));
    assert_good(&glance_at(&page, "correction"));
}

/// Sixty counties, every one of them visited, in the third season of the region: as much as a page has to hold.
#[test]
fn the_page_of_sixty_counties_is_small_and_takes_three_pages_of_paper() {
    let (workspace, counties) = sixty_counties();
    workspace
        .run(&["alert", "--week", "2026-W30"])
        .expect_code(0);
    let page = workspace.path().join("alerts/2026-W30/bsm-eggs/alert.html");
    let text = std::fs::read_to_string(&page).expect("the page");
    let rows = text.matches("<th scope=\"row\"").count();
    assert!(
        rows > 50,
        "{rows} of {counties} counties have visits: nothing is proved"
    );
    assert!(text.len() < 200_000, "{} bytes", text.len());
    let report = glance_at(&page, "sixty");
    assert_good(&report);
    assert_pages(&report, 3);
}

/// A workspace of sixty real counties with three seasons of invented visits.
pub fn sixty_counties() -> (TestWorkspace, usize) {
    let region = Region::built_in("us:46").expect("South Dakota");
    let counties = &region.counties()[..60];
    let features: Vec<Value> = counties
        .iter()
        .map(|county| {
            json!({
                "type": "Feature",
                "properties": {"id": county.id, "name": county.name},
                "geometry": geojson::Geometry::new((&county.shape).into()),
            })
        })
        .collect();
    let boundaries =
        json!({"type": "FeatureCollection", "title": "sixty counties", "features": features});
    let workspace = TestWorkspace::empty();
    let file = text_of(&workspace.write("sixty.geojson", boundaries.to_string()));
    let labels = ["--id-property", "id", "--name-property", "name"];
    let path = text_of(&workspace.path());
    bractline(&[&["init", &path, "--region", &file], &labels[..]].concat()).expect_code(0);
    let shapes: Vec<_> = counties
        .iter()
        .map(|county| (county.id.clone(), county.shape.clone()))
        .collect();
    let options = SampleOptions {
        fields: 3_000,
        visits_per_field_max: 3,
        ..SampleOptions::default()
    };
    let lines: Vec<_> = SampleLines::new(&shapes, &options)
        .expect("counties")
        .collect();
    let submissions = submissions(&workspace, "visits", &lines, 1);
    load(&workspace, &submissions);
    (workspace, counties.len())
}

/// The judge itself: a page with one of every fault, so that a page without a finding means something.
#[test]
fn the_judge_finds_every_kind_of_fault() {
    let workspace = TestWorkspace::empty();
    let page = workspace.write("bad.html", BAD_PAGE);
    let report = glance_at(&page, "bad");
    let found = &report["views"]["360-light"];
    for (kind, says) in [
        ("scroll", "the page is "),
        ("outside", "runs out of the window"),
        ("outside", "is cut by"),
        ("overlap", "overlaps"),
        ("broken", "threshold"),
        ("charts", "overlaps"),
        ("charts", "sticks out"),
        ("charts", "Border crosses"),
        ("small", "tiny"),
        ("contrast", "pale"),
        ("targets", "10 × 10"),
        ("structure", "a level is left out"),
        ("structure", "does not say its figures"),
        ("structure", "without a caption"),
        ("structure", "a link to nothing"),
        ("structure", "two of the id twice"),
        ("motion", "animations"),
        ("axe", "color-contrast"),
        ("axe", "image-alt"),
        ("tables", "columnheader"),
        ("quiet", "asks for https://example.org/"),
        ("quiet", "console log"),
    ] {
        let list = found[kind].as_array().expect("a list");
        let named = |fault: &Value| fault.as_str().is_some_and(|fault| fault.contains(says));
        assert!(list.iter().any(named), "{kind} without {says:?}: {list:#?}");
    }
    let paper = &report["paper"]["A4"];
    assert_eq!(paper["pages"], 3);
    assert_ne!(paper["cut"], json!([]));
    assert_ne!(paper["missing"], json!([]));
    assert_ne!(report["texts"]["with"], report["texts"]["without"]);
}

const BAD_PAGE: &str = r##"<!DOCTYPE html><html lang="en"><head><meta charset="utf-8"><title>bad</title>
<style>
@page { margin: 8mm }
@keyframes turn { to { rotate: 1turn } }
b { display: inline-block; animation: turn 9s infinite }
@media print { .gone { position: absolute; left: -999px; } .sheet { break-before: page } }
</style></head><body><main>
<h1>Bad</h1><h3>no second level</h3>
<p style="width: 700px">a line as wide as a desk</p>
<p style="position: relative; left: 300px; white-space: nowrap">runs out of the window on a phone</p>
<p style="width: 60px; overflow: hidden; white-space: nowrap">cut before its end is reached</p>
<p style="margin: 0; height: 4px">one upon</p><p style="margin: 0">the other</p>
<p style="width: 40px; overflow-wrap: anywhere">threshold</p>
<p style="color: #bbb; background: #fff">gray on white</p>
<button style="width: 10px; height: 10px; padding: 0; border: 0" aria-label="small"></button>
<b>turns</b><a href="#nowhere">a link</a><i id="twice"></i><i id="twice"></i>
<p class="gone">qqqqqqq ZZZZZ</p>
<svg role="img" aria-label="a chart" viewBox="0 0 300 60" width="300" height="60"><rect width="300" height="60" fill="#fff"/>
<text x="10" y="20" font-size="12">first label</text><text x="30" y="22" font-size="12">second label</text>
<text x="280" y="50" font-size="12">beyond</text><text x="10" y="50" font-size="5">tiny</text>
<text x="100" y="50" font-size="12" fill="#bbb">pale</text>
<path d="M150 30h20v30h-20Z" fill="none"><title>Border: 1</title></path><text x="150" y="45" font-size="12">Border</text></svg>
<table><tr><th scope="col" role="presentation">a</th></tr><tr><td>1</td></tr></table>
<img src="https://example.org/i.png">
<div class="sheet">second</div><div class="sheet" style="position: relative; left: -5mm">third</div>
<script>console.log('said'); document.querySelector('h1').textContent = 'Worse';</script>
</main></body></html>"##;
