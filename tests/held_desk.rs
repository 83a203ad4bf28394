//! The held desk: records that come back are closed once, are dropped on purpose, and are listed by sender and reason.

use std::path::PathBuf;

use serde_json::json;

use crate::support::held_desk::{all, export, held_id, held_week, load, open};
use crate::support::snapshots::assert_text;
use crate::support::{TestWorkspace, counts, full_visit, lines, received, text_of};

#[test]
fn a_sheet_that_comes_back_as_it_went_changes_nothing() {
    let workspace = held_week();
    let before = all(&workspace);
    for (form, ending) in [("xlsx", ".xlsx"), ("csv", ".csv"), ("ndjson", ".ndjson")] {
        let files = export(&workspace, form, form, ending);
        let account = load(&workspace, &files);
        assert_eq!(counts(&account), received(4).held(4), "{form}");
        assert_eq!(
            (&account["held_before"], &account["closed"]),
            (&json!(4), &json!(0)),
            "{form}"
        );
        assert_eq!(all(&workspace), before);
    }
}

#[test]
fn a_corrected_record_without_an_id_closes_what_its_visit_and_revision_had_left_open() {
    let workspace = held_week();
    let account = workspace.load_text("right", &lines(&[full_visit("negative")]));
    assert_eq!(
        (counts(&account), &account["closed"]),
        (received(1).accepted(1), &json!(1))
    );
    assert_eq!(open(&workspace), 3);
    // The revision of a conflict is taken: the arrival of that very revision again mends nothing.
    let again = workspace.load_text("good", &lines(&[full_visit("good-1")]));
    assert_eq!(
        (counts(&again), &again["closed"]),
        (received(1).duplicate(1), &json!(0))
    );
    let mut higher = full_visit("good-1");
    higher["revision"] = json!(2);
    let higher = workspace.load_text("higher", &lines(&[higher]));
    assert_eq!(
        (counts(&higher), &higher["closed"]),
        (received(1).accepted(1), &json!(0))
    );
    assert_eq!(open(&workspace), 3);
    workspace.run(&["store", "verify"]).expect_code(0);
}

#[test]
fn a_duplicate_closes_only_what_it_names() {
    let workspace = TestWorkspace::of_region("us:46");
    let good = lines(&[full_visit("a")]);
    workspace.load_text("good", &good);
    let mut later = full_visit("a");
    later["crop_stage"] = json!("R77");
    workspace.load_text("later", &lines(&[later]));
    let again = workspace.load_text("good", &good);
    assert_eq!(
        (counts(&again), &again["closed"]),
        (received(1).duplicate(1), &json!(0))
    );
    assert_eq!(open(&workspace), 1);
    // Its sender looks and says: the first one was right.
    let wrapped = json!({"held_id": held_id(&workspace, 1), "record": full_visit("a")});
    let named = workspace.load_text("named", &lines(&[wrapped]));
    assert_eq!(
        (counts(&named), &named["closed"]),
        (received(1).duplicate(1), &json!(1))
    );
    assert_eq!(open(&workspace), 0);
    workspace.run(&["store", "verify"]).expect_code(0);
}

#[test]
fn an_id_that_never_was_is_flagged_and_a_broken_one_is_held() {
    let workspace = TestWorkspace::of_region("us:46");
    let unknown = json!({"held_id": "0123456789abcdef-7", "record": full_visit("a")});
    let account = workspace.load_text("unknown", &lines(&[unknown]));
    assert_eq!(
        (counts(&account), &account["closed"]),
        (received(1).accepted(1), &json!(0))
    );
    assert_eq!(
        account["submissions"][0]["flags"],
        json!({"held-id-unknown": 1})
    );
    let broken = json!({"held_id": "line 7", "record": full_visit("b")});
    let account = workspace.load_text("broken", &lines(&[broken]));
    assert_eq!(counts(&account), received(1).held(1));
}

#[test]
fn files_of_one_run_see_what_the_files_before_them_brought() {
    let workspace = TestWorkspace::of_region("us:46");
    let mut wrong = full_visit("a");
    wrong["crop_stage"] = json!("R77");
    let first = workspace.write("1", lines(&[wrong]));
    let second = workspace.write("2", lines(&[full_visit("a")]));
    let checked = workspace.run(&[
        "check",
        "--format",
        "json",
        &text_of(&first),
        &text_of(&second),
    ]);
    assert_eq!(checked.json()["closed"], 1);
    let account = workspace.load(&[&first, &second]);
    assert_eq!(
        (counts(&account), &account["closed"]),
        (received(2).accepted(1).held(1), &json!(1))
    );
    assert_eq!(open(&workspace), 0);
    workspace.run(&["store", "verify"]).expect_code(0);
}

#[test]
fn a_drop_is_by_file_or_sender_too_and_all_of_it_or_nothing() {
    let workspace = held_week();
    let drop = |arguments: &[&str]| {
        workspace.run(&[&["held", "drop", "--yes", "--by", "x"], arguments].concat())
    };
    for usage in [
        &["--id", "0123456789abcdef-7"][..],
        &["--reason", " ", "--file", "week30.ndjson"],
        &["--reason", "x"],
        &["--reason", "x", "--file", "a", "--sender", "b"],
        &["--reason", "x", "--id", "seven"],
    ] {
        drop(usage).expect_code(2);
    }
    let id = held_id(&workspace, 2);
    for nothing in [
        &["--reason", "x", "--id", &id, "0123456789abcdef-7"][..],
        &["--reason", "x", "--file", "week31.ndjson"],
        &["--reason", "x", "--sender", "obs-9999"],
    ] {
        drop(nothing).expect_code(1);
    }
    assert_eq!(open(&workspace), 4);
    let dropped = drop(&["--reason", "x", "--sender", "obs-0123", "--format", "json"]);
    assert_eq!(dropped.expect_code(0).json().as_array().unwrap().len(), 2);
    drop(&["--reason", "x", "--file", "week30.ndjson"]).expect_code(0);
    assert_eq!(open(&workspace), 0);
    let again = workspace.beside("nothing");
    workspace
        .run(&["held", "export", "--out", &text_of(&again)])
        .expect_code(0);
    assert!(!again.exists(), "nothing is held, so nothing is written");
    workspace.run(&["store", "verify"]).expect_code(0);
}

#[test]
fn a_drop_is_shown_first_and_can_be_taken_back() {
    let workspace = held_week();
    let id = held_id(&workspace, 2);
    let drop = [
        "held", "drop", "--reason", "x", "--by", "office", "--id", &id,
    ];
    let preview = workspace.run(&drop).expect_code(0);
    assert!(preview.stdout.contains("would drop 1 record") && preview.stderr.contains("--yes"));
    let json = workspace.run(&[&drop[..], &["--format", "json"]].concat());
    assert_eq!(json.json()["would_drop"][0]["held_id"], *id);
    assert_eq!(open(&workspace), 4);

    let restore = |id: &str| {
        workspace.run(&[
            "held",
            "restore",
            id,
            "--reason",
            "a mistake",
            "--by",
            "office",
        ])
    };
    let refused = restore(&id).expect_code(1);
    assert!(
        refused.stderr.contains("no dropped record has the id"),
        "{}",
        refused.stderr
    );
    // The later decision counts, as often as it is changed.
    for _ in 0..2 {
        workspace
            .run(&[&drop[..], &["--yes"]].concat())
            .expect_code(0);
        assert_eq!(open(&workspace), 3);
        restore(&id).expect_code(0);
        assert_eq!(open(&workspace), 4);
    }
    let query = "select how, reason, who from held_closed order by closed_at";
    let rows = workspace.run(&["sql", query, "--format", "json"]).json();
    let how: Vec<&str> = rows
        .as_array()
        .unwrap()
        .iter()
        .map(|row| row["how"].as_str().unwrap())
        .collect();
    assert_eq!(how, ["dropped", "restored", "dropped", "restored"]);
    assert_eq!(rows[1]["reason"], "a mistake");
    workspace.run(&["store", "verify"]).expect_code(0);
    workspace.run(&["store", "compact"]).expect_code(0);
    assert_eq!(open(&workspace), 4);

    // A restored record is closed by its correction as any other.
    let account = workspace.load_text("right", &lines(&[full_visit("negative")]));
    assert_eq!(account["closed"], json!(1));
    restore(&id).expect_code(1);
    workspace.run(&["store", "verify"]).expect_code(0);
}

// --- What goes out -------------------------------------------------------------------------------

#[test]
fn the_list_groups_by_sender_file_and_reason() {
    let workspace = held_week();
    let groups = workspace.run(&["held", "list", "--format", "json"]).json();
    let reasons = |sender: usize| &groups["senders"][sender]["files"][0]["reasons"];
    assert_eq!(groups["senders"][0]["sender"], "obs-0123");
    assert_eq!(groups["senders"][0]["records"], 2);
    assert_eq!(
        *reasons(0),
        json!({"out-of-range": 1, "revision-conflict": 1})
    );
    assert_eq!(*reasons(1), json!({"member-missing": 1}));
    assert_eq!(groups["senders"][2]["sender_is"], "file");
    assert_eq!(*reasons(2), json!({"not-json": 1}));
    let text = workspace.run(&["held", "list"]).stdout;
    for line in [
        "4 records are held",
        "obs-0123: 2 records",
        "    out-of-range: 1",
    ] {
        assert!(text.lines().any(|shown| shown == line), "{line} in {text}");
    }
}

#[test]
fn the_letter_tells_each_record_in_plain_words() {
    let workspace = held_week();
    let letters = export(&workspace, "xlsx", "desk", ".letter.txt");
    assert_eq!(letters.len(), 3);
    let letter = std::fs::read_to_string(
        letters
            .iter()
            .find(|path| text_of(path).contains("obs-0123"))
            .unwrap(),
    );
    let letter = letter.unwrap();
    for piece in [
        "line 2 (visit negative)",
        "site 1, head 2, bract 3: \u{2212}1",
        "a count is a whole number, 0 or more",
        "line 4 (visit good-1)",
        "raise the revision by one",
    ] {
        assert!(letter.contains(piece), "{piece} in\n{letter}");
    }
    assert_text("letter-to-a-sender", &letter);
    let occupied = workspace.run(&[
        "held",
        "export",
        "--out",
        &text_of(&workspace.beside("desk")),
    ]);
    assert!(occupied.expect_code(1).stderr.contains("not empty"));
}

#[test]
fn a_record_too_long_for_a_cell_has_a_file_of_its_own_that_loads_back() {
    let workspace = TestWorkspace::of_region("us:46");
    let mut long = full_visit("long");
    long["crop_stage"] = json!("R77");
    long["sites"] = (1..=400)
        .map(|site| json!({"site": site, "heads": vec![[0, 1, 0, 2, 0, 0]; 5]}))
        .collect();
    assert!(long.to_string().len() > 32_767);
    workspace.load_text("long", &lines(&[long]));
    let sheet = export(&workspace, "xlsx", "desk", ".xlsx");
    let nothing = load(&workspace, &sheet);
    assert_eq!(
        counts(&nothing),
        received(0),
        "nothing to correct in the sheet"
    );
    let own: Vec<PathBuf> = std::fs::read_dir(workspace.beside("desk"))
        .unwrap()
        .map(|entry| entry.unwrap().path())
        .filter(|path| text_of(path).ends_with(".json"))
        .collect();
    let text = std::fs::read_to_string(&own[0])
        .unwrap()
        .replace("R77", "R3");
    let account = workspace.load_text("mended", &text);
    assert_eq!(
        (counts(&account), &account["closed"]),
        (received(1).accepted(1), &json!(1))
    );
    assert_eq!(open(&workspace), 0);
}
