//! The gate of a note and of the grid's width, from the command line: drafted, issued, published, exported.

use scouting::region::Region;
use serde_json::{Value, json};

use crate::support::issuing::{loaded, visits};
use crate::support::{Run, TestWorkspace, full_visit, lines, text_of};

const WEEK: &str = "2026-W30";

fn with_note(workspace: &TestWorkspace, note: &[u8], more: &[&str]) -> Run {
    let file = text_of(&workspace.write("words.md", note));
    let command = ["alert", "--week", WEEK, "--note", &file];
    workspace.run(&[&command[..], more].concat())
}

/// The first field of the sample, whose id is `F-46013-1` and whose scout is `scout-46013-1`.
fn first_field() -> Value {
    let region = Region::built_in("us:46").expect("South Dakota");
    visits(&region, "46013", 2, "2026-07-21", 1)[1].clone()
}

#[test]
fn a_note_that_names_a_field_in_any_spelling_is_neither_drafted_nor_issued() {
    let (workspace, _) = loaded();
    let field = &first_field()["field"];
    let (lon, lat) = (field["lon"].as_f64(), field["lat"].as_f64());
    let (lon, lat) = (lon.expect("a longitude"), lat.expect("a latitude"));
    for (note, says) in [
        ("seen in f-46013-1".to_owned(), "\"F-46013-1\""),
        (
            "seen in F\u{2011}46013\u{2013}1".to_owned(),
            "\"F-46013-1\"",
        ),
        ("seen in F 46013 1".to_owned(), "\"F-46013-1\""),
        ("seen in F-46**013**-1".to_owned(), "\"F-46013-1\""),
        (
            "seen by SCOUT_46013\u{200b}_1".to_owned(),
            "\"scout-46013-1\"",
        ),
        (
            "[map](https://example.org/F%252D46013%252D1)".to_owned(),
            "\"F-46013-1\"",
        ),
        (
            "| a | b |\n|---|---|\n| F-46013 | 1 |".to_owned(),
            "\"F-46013-1\"",
        ),
        (format!("near {lat:.3} N, {:.3} W", -lon), "give a point"),
        (
            format!("[map](https://example.org/@{lat},{lon},15z)"),
            "give a point",
        ),
    ] {
        for more in [&[][..], &["--issue"]] {
            let run = with_note(&workspace, note.as_bytes(), more).expect_code(1);
            assert!(
                run.stderr.contains("the note: it") && run.stderr.contains(says),
                "{note}: {run:?}"
            );
        }
    }
    assert!(
        !workspace.path().join("alerts").exists(),
        "nothing is written"
    );
    // What an office writes every week is no name.
    let words = "On August 3-9, 2026 (week 30) 44 % to 100 % of heads were at R5.1.\n\n\
                 Call 605-555-0123, or <desk@example.org>. Moths flew in Hughes County.";
    with_note(&workspace, words.as_bytes(), &["--issue"]).expect_code(0);
}

#[test]
fn a_note_is_judged_again_when_it_is_published() {
    let (workspace, _) = loaded();
    let note = "Trap at 45.123, -97.123. See the trial NDX-7-42.";
    with_note(&workspace, note.as_bytes(), &["--issue"]).expect_code(0);
    let place = workspace.beside("public");
    let publish = || workspace.run(&["publish", "--to", &text_of(&place)]);
    publish().expect_code(0);
    // A place that was named before a field nearby was visited says nothing of the field.
    let mut near = full_visit("near-the-trap");
    near["field"]["field_id"] = "another".into();
    (near["field"]["lon"], near["field"]["lat"]) = (json!(-97.123), json!(45.123));
    assert_eq!(
        workspace.load_text("near.ndjson", &lines(&[near]))["accepted"],
        1
    );
    publish().expect_code(0);
    let mut named = full_visit("of-the-trial");
    named["field"]["field_id"] = "ndx_742".into();
    assert_eq!(
        workspace.load_text("named.ndjson", &lines(&[named]))["accepted"],
        1
    );
    let run = publish().expect_code(1);
    assert!(run.stderr.contains("\"ndx_742\""), "{run:?}");
}

#[test]
fn a_note_without_an_end_or_with_too_deep_nesting_is_refused_at_once() {
    let (workspace, _) = loaded();
    for (note, says) in [
        ("> ".repeat(9_900) + "x", "nests more than 20"),
        ("- ".repeat(9_900) + "x", "nests more than 20"),
        ("n".repeat(2_000_000), "more than 20000 bytes"),
    ] {
        let run = with_note(&workspace, note.as_bytes(), &[]).expect_code(1);
        assert!(
            run.stderr.contains(says) && run.stderr.contains("words.md"),
            "{run:?}"
        );
    }
}

#[test]
fn a_table_in_a_note_is_a_table_on_the_page() {
    let (workspace, _) = loaded();
    let note = b"Catches:\n\n|Trap|Moths|\n|---|--:|\n|north|3|\n";
    with_note(&workspace, note, &[]).expect_code(0);
    let read = |name: &str| {
        let path = workspace
            .path()
            .join("alerts")
            .join(WEEK)
            .join("bsm-eggs")
            .join(name);
        std::fs::read_to_string(path).expect("a file of the alert")
    };
    assert!(read("alert.html").contains("<tr><td>north</td><td>3</td></tr>"));
    assert!(read("alert.md").contains("| north |     3 |"));
}

#[test]
fn the_grid_is_never_made_narrower_than_that_of_an_issued_alert() {
    let (workspace, _) = loaded();
    let settings = workspace.path().join("bractline.toml");
    let text = std::fs::read_to_string(&settings).expect("settings");
    let set = |km: &str| {
        let with = text.replace("point_grid_km = 10.0", &format!("point_grid_km = {km}"));
        std::fs::write(&settings, with).expect("settings");
    };
    set("20");
    workspace
        .run(&["alert", "--week", WEEK, "--issue"])
        .expect_code(0);
    let out = |name: &str| text_of(&workspace.beside(name));
    let (rolled, package, public) = (out("rolled"), out("package"), out("public"));
    let commands: [&[&str]; 6] = [
        &["alert", "--week", WEEK],
        &["alert", "--reissue", "1"],
        &["publish", "--to", &public],
        &["export", "--out", &package],
        &["export", "--as-issued", "1", "--out", &package],
        &["rollup", "--week", WEEK, "--out", &rolled],
    ];
    set("10");
    for command in commands {
        let run = workspace.run(command).expect_code(1);
        for says in ["point_grid_km = 10", "alert 1", "20", "bractline.toml"] {
            assert!(run.stderr.contains(says), "{command:?}: {run:?}");
        }
    }
    for name in ["rolled", "package", "public"] {
        assert!(!workspace.beside(name).exists(), "{name} was written");
    }
    set("40");
    workspace.run(&["alert", "--week", WEEK]).expect_code(0);
    workspace.run(&["publish", "--to", &public]).expect_code(0);
    workspace
        .run(&["export", "--level", "grid", "--private", "--out", &package])
        .expect_code(0);
}
