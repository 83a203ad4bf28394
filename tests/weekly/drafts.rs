//! Drafts of the newest week: which week and pests, and the page that has all of them.

use serde_json::Value;

use crate::support::pests::{WEEK, weeks_of};
use crate::support::{TestWorkspace, bractline, text_of};

const BOTH: [&str; 2] = ["bsm-eggs", "rssw"];

#[test]
fn without_a_week_the_newest_is_drafted_under_each_of_its_protocols_and_on_one_page() {
    let workspace = weeks_of(&BOTH);
    let run = workspace.run(&["alert"]).expect_code(0);
    let first = run.stdout.lines().next().unwrap_or_default();
    assert!(
        first.starts_with("newest week with visits: 2026-W30, "),
        "{run:#?}"
    );
    for pest in BOTH {
        assert!(
            run.stdout.contains(&format!("draft of {WEEK}, {pest}: ")),
            "{run:#?}"
        );
    }
    let folder = workspace.path().join("alerts").join(WEEK);
    assert!(!workspace.path().join("alerts/2026-W29").exists());
    let page = std::fs::read_to_string(folder.join("index.html")).expect("the week's page");
    for (pest, title) in [
        ("bsm-eggs", "Banded sunflower moth"),
        ("rssw", "Red sunflower seed weevil"),
    ] {
        assert!(
            page.contains(&format!("<a href=\"{pest}/alert.html\">{title}")),
            "{page}"
        );
        let own = std::fs::read_to_string(folder.join(pest).join("alert.html")).expect("its page");
        // The finding of the page of the week is the headline of the pest's own page.
        let headline = between(&own, "<h1>", "</h1>");
        assert!(
            page.contains(&format!("<p><strong>{headline}</strong></p>")),
            "{headline}: {page}"
        );
    }
    for part in [
        "Based on 12 fields in 3 of 66 counties.",
        "95% confidence interval",
        "Stages of the fields counted: R3 12.",
        "<p class=\"issued\">draft</p>",
        "The label is the law",
        "restricted-entry interval",
    ] {
        assert!(
            page.to_lowercase().contains(&part.to_lowercase()),
            "{part}: {page}"
        );
    }
    assert_eq!(page.matches("class=\"map small\"").count(), 2);
    assert_eq!(
        page.matches("<path id=\"c").count(),
        66,
        "each outline once"
    );
    for absent in ["<script", "http://", "https://", "feed.xml"] {
        let page = page.replace("http://www.w3.org/2000/svg", "");
        assert!(!page.contains(absent), "{absent}");
    }

    let drafts = workspace
        .run(&["alert", "--format", "json"])
        .expect_code(0)
        .json();
    let protocols: Vec<&Value> = drafts["drafts"]
        .as_array()
        .expect("drafts")
        .iter()
        .map(|draft| &draft["protocol"])
        .collect();
    assert_eq!(protocols, BOTH);
    assert!(drafts["protocol"].is_null(), "{drafts:#}");
    let one = [
        "alert",
        "--week",
        WEEK,
        "--protocol",
        "rssw",
        "--format",
        "json",
    ];
    let one = workspace.run(&one).expect_code(0).json();
    assert_eq!(one["drafts"].as_array().map(Vec::len), Some(1));
    assert_eq!(
        (&one["protocol"], &one["iso_week"]),
        (&"rssw".into(), &WEEK.into())
    );
    // The draft of another run is on the page all the same, without a line of its own.
    let page = std::fs::read_to_string(folder.join("index.html")).expect("the week's page");
    assert!(page.contains("bsm-eggs/alert.html"), "{page}");
    assert_eq!(page.matches("class=\"map small\"").count(), 1);
}

fn between<'a>(text: &'a str, start: &str, end: &str) -> &'a str {
    let (_, rest) = text.split_once(start).expect("its start");
    rest.split_once(end).expect("its end").0
}

#[test]
fn a_store_without_visits_has_no_newest_week() {
    let workspace = TestWorkspace::of_region("us:46");
    for arguments in [&["alert"][..], &["alert", "--issue", "--yes"]] {
        let run = workspace.run(arguments).expect_code(1);
        assert!(
            run.stderr.contains("no week has visits") && run.stderr.contains("bractline load"),
            "{run:#?}"
        );
    }
}

#[test]
fn options_that_do_not_go_together_are_refused() {
    let path = TestWorkspace::of_region("us:46");
    let path = text_of(&path.path());
    for arguments in [
        &["--yes"][..],
        &["--issue", "--list"],
        &["--issue", "--reissue", "1"],
        &["--reissue", "1", "--correct", "2", "--reason", "x"],
        &["--correct", "1"],
        &["--reason", "x"],
        &["--reissue", "1", "--reason", "x"],
        &["--no-note"],
        &["--note", "a.md", "--notes", "b"],
        &["--protocol", "rssw", "--reissue", "1"],
        &["--week", WEEK, "--reissue", "1"],
        &["--reissue"],
    ] {
        let run = bractline(&[&["--workspace", &path, "alert"], arguments].concat());
        assert_eq!(run.code, Some(2), "{arguments:?}: {run:#?}");
    }
}
