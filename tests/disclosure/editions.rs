//! Editions of a row: late fields, several protocols, corrections and withdrawals.

use serde_json::{Value, json};

use super::{
    BROWN, WEEK, counties_of, field, fields, issue, issue_week, issued_files, load, table,
    workspace_of,
};
use crate::support::{contents, folder_bytes, text_of};

#[test]
fn a_late_field_changes_no_row_and_three_change_it_once() {
    let workspace = workspace_of(&fields(BROWN, 0..6, 5));
    issue_week(&workspace);
    let first = issued_files(&workspace, 1);
    load(&workspace, "late.ndjson", &fields(BROWN, 6..7, 0));
    let second = issue(&workspace, &["--reissue", "1"]);
    assert_eq!(second["rows_made_public"], 0);
    assert_eq!(
        first["county_week.csv"],
        issued_files(&workspace, 2)["county_week.csv"]
    );
    load(&workspace, "later.ndjson", &fields(BROWN, 7..9, 0));
    issue(&workspace, &["--reissue", "2"]);
    assert_eq!(counties_of(&workspace, 3)[BROWN], "6 6 9 2");
    // No third: what comes later is in other rows.
    load(&workspace, "last.ndjson", &fields(BROWN, 9..13, 0));
    issue(&workspace, &["--reissue", "3"]);
    assert_eq!(counties_of(&workspace, 4)[BROWN], "6 6 9 2");
    let files = issued_files(&workspace, 4);
    let elsewhere = table(&files["elsewhere_week.csv"], "place");
    assert_eq!(elsewhere["elsewhere in the region"]["fields_visited"], "4");
    // Each can be built again, byte for byte.
    for number in ["1", "2", "3", "4"] {
        let again = issue(&workspace, &["--as-issued", number]);
        assert_eq!(again["same"], true, "{again:#}");
    }
}

/// Visits of another protocol in the same county.
fn moths(numbers: std::ops::Range<usize>) -> Vec<Value> {
    let one = |number: usize| {
        let mut visit = field(
            BROWN,
            &format!("adult-{number}"),
            Some(&format!("farm-m{number}")),
            0,
        );
        visit["protocol"] = "bsm-adults".into();
        let plants = vec![1; 20];
        let sites = (1..=5).map(|site| json!({ "site": site, "plants": plants }));
        visit["sites"] = sites.collect();
        visit
    };
    numbers.map(one).collect()
}

#[test]
fn alerts_of_several_protocols_keep_apart_and_only_what_was_issued_is_published() {
    let mut all = fields(BROWN, 0..6, 5);
    all.extend(moths(0..5));
    let workspace = workspace_of(&all);
    for protocol in ["bsm-eggs", "bsm-adults"] {
        workspace
            .run(&["alert", "--week", WEEK, "--protocol", protocol])
            .expect_code(0);
    }
    let drafts = workspace.path().join("alerts").join(WEEK);
    for (protocol, other) in [("bsm-eggs", "bsm-adults"), ("bsm-adults", "bsm-eggs")] {
        let files = folder_bytes(&drafts.join(protocol));
        assert_eq!(files.len(), 7, "{:?}", files.keys());
        let map = String::from_utf8_lossy(&files["county_week.geojson"]).into_owned();
        assert!(map.contains(protocol) && !map.contains(other));
    }
    let week = std::fs::read_to_string(drafts.join("index.html")).expect("the week's page");
    assert!(week.contains("bsm-eggs/alert.html") && week.contains("bsm-adults/alert.html"));
    issue(
        &workspace,
        &["--week", WEEK, "--protocol", "bsm-eggs", "--issue"],
    );
    let place = workspace.beside("public");
    workspace
        .run(&["publish", "--to", &text_of(&place)])
        .expect_code(0);
    let public = contents(&place);
    assert_eq!(public.len(), 19, "{:?}", public.keys());
    for (path, bytes) in public {
        let text = String::from_utf8_lossy(&bytes).into_owned();
        for word in ["bsm-adults", "Banded sunflower moth, adults"] {
            assert!(!text.contains(word), "{word} in {}", path.display());
        }
    }
}

#[test]
fn an_update_keeps_the_note_unless_another_is_given() {
    let workspace = workspace_of(&fields(BROWN, 0..6, 5));
    let note = workspace.write("note.md", "Moths fly at dusk.\n");
    issue(
        &workspace,
        &["--week", WEEK, "--issue", "--note", &text_of(&note)],
    );
    issue(&workspace, &["--reissue", "1"]);
    let other = workspace.write("other.md", "Flight is over.\n");
    issue(&workspace, &["--reissue", "2", "--note", &text_of(&other)]);
    issue(&workspace, &["--reissue", "3", "--no-note"]);
    let said = |number| {
        let text = issued_files(&workspace, number)["alert.md"].clone();
        let text = String::from_utf8(text).expect("UTF-8");
        ["Moths fly at dusk.", "Flight is over."].map(|note| text.contains(note))
    };
    assert_eq!(said(1), [true, false]);
    assert_eq!(said(2), [true, false]);
    assert_eq!(said(3), [false, true]);
    assert_eq!(said(4), [false, false]);
}

#[test]
fn a_withdrawn_alert_leaves_a_stub_and_its_week_can_be_issued_again() {
    let all = fields(BROWN, 0..6, 5);
    let workspace = workspace_of(&all);
    issue_week(&workspace);
    let place = workspace.beside("public");
    let publish = || workspace.run(&["publish", "--to", &text_of(&place)]);
    publish().expect_code(0);
    assert!(place.join("0001/county_week.csv").is_file());
    let run = workspace.run(&["alert", "--withdraw", "1"]);
    assert_eq!(run.code, Some(2), "a reason is needed");
    issue(
        &workspace,
        &["--withdraw", "1", "--reason", "counts of another week <b>"],
    );
    let run = workspace.run(&["alert", "--withdraw", "1", "--reason", "again"]);
    assert!(run.expect_code(1).stderr.contains("withdrawn already"));
    let run = workspace.run(&["alert", "--reissue", "1"]).expect_code(1);
    assert!(run.stderr.contains("was withdrawn"), "{run:?}");
    publish().expect_code(0);
    let public = folder_bytes(&place);
    let names: Vec<&str> = public
        .keys()
        .map(String::as_str)
        .filter(|name| name.starts_with("0001"))
        .collect();
    assert_eq!(names, ["0001/alert.html"]);
    let stub = String::from_utf8(public["0001/alert.html"].clone()).expect("UTF-8");
    assert!(stub.contains("was withdrawn") && stub.contains("counts of another week"));
    assert!(!stub.contains("<b>") && !stub.contains("6 of 6") && !stub.contains("or more of"));
    for name in ["feed.xml", "index.html"] {
        let text = String::from_utf8(public[name].clone()).expect("UTF-8");
        assert!(text.contains("counts of another week"), "{name}");
        assert!(!text.contains("Fields at threshold"), "{name}");
    }
    // Nothing has changed: the same row is shown again, and tells nothing new.
    issue_week(&workspace);
    assert_eq!(counties_of(&workspace, 2), counties_of(&workspace, 1));
    issue(
        &workspace,
        &["--withdraw", "2", "--reason", "one count was wrong"],
    );
    // A row made again would reveal the one corrected field: it is shown no more.
    let mut corrected = all[0].clone();
    corrected["revision"] = 2.into();
    corrected["sites"] = field(BROWN, "x", None, 0)["sites"].clone();
    load(&workspace, "corrected.ndjson", &[corrected]);
    issue_week(&workspace);
    assert!(counties_of(&workspace, 3).is_empty());
}
