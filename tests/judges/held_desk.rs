//! Held records that are corrected by other programs, and their exports as spreadsheets show them.

use std::path::PathBuf;

use serde_json::{Value, json};

use crate::judge::python;
use crate::support::held_desk::{bad_week, export, held_id, held_week, load, open};
use crate::support::{TestWorkspace, counts, full_visit, lines, received, text_of};

/// How their senders mend them, for `mend.py`.
fn mendings() -> Value {
    json!({
        "negative": {"/sites/0/heads/1/2": 1},
        "?": {"/visit_id": "named"},
        "good-1": {"/revision": 2},
        "": full_visit("broken"),
    })
}

pub fn mend(workspace: &TestWorkspace, files: &[PathBuf], mendings: &Value) -> Vec<PathBuf> {
    let how = workspace.write("mendings.json", mendings.to_string());
    let out = workspace.beside("");
    let arguments: Vec<String> = files.iter().map(|file| text_of(file)).collect();
    let (out, how) = (text_of(&out), text_of(&how));
    let mut arguments: Vec<&str> = arguments.iter().map(String::as_str).collect();
    arguments.extend([out.as_str(), how.as_str()]);
    python("tests/reference/mend.py", &arguments);
    let mended = files.iter().map(|file| {
        let name = file.file_name().unwrap().display();
        workspace.beside(&format!("mended-{name}"))
    });
    mended.collect()
}

/// Nothing is open, nothing is there twice, and the store is whole.
fn assert_all_mended(workspace: &TestWorkspace) {
    assert_eq!(open(workspace), 0);
    let stored = workspace.store_rows();
    let visits = json!([
        ["broken", 1],
        ["good-1", 1],
        ["good-1", 2],
        ["good-2", 1],
        ["named", 1],
        ["negative", 1]
    ]);
    assert_eq!(stored["visits"], visits);
    let closed = stored["held_closed"].as_array().unwrap();
    let held: Vec<&Value> = stored["held"].as_array().unwrap().iter().collect();
    assert_eq!((closed.len(), held.len()), (4, 4));
    for (closing, record) in closed.iter().zip(held) {
        assert_eq!(closing["how"], "corrected");
        assert_eq!(
            (&closing["line"], &closing["sha256"]),
            (&record["line"], &record["sha256"])
        );
    }
    let visit_of = |line: usize| closed[line]["visit_id"].as_str().unwrap();
    assert_eq!(
        [0, 1, 2, 3].map(visit_of),
        ["negative", "named", "good-1", "broken"]
    );
    workspace.run(&["store", "verify"]).expect_code(0);
}

#[test]
fn what_was_held_comes_back_mended_as_lines_and_is_closed_once() {
    let workspace = held_week();
    let files = export(&workspace, "ndjson", "desk", ".ndjson");
    assert_eq!(
        files.len(),
        3,
        "two scouts, and a file that names none: {files:?}"
    );
    let mended = mend(&workspace, &files, &mendings());
    let account = load(&workspace, &mended);
    assert_eq!(counts(&account), received(4).accepted(4), "{account:#}");
    assert_eq!(account["closed"], 4);
    assert_all_mended(&workspace);

    // Once more: duplicates, and no second closing.
    let again = load(&workspace, &mended);
    assert_eq!(counts(&again), received(4).duplicate(4));
    assert_eq!(again["closed"], 0);
    // The bad file once more: counted as held, as its bytes are, and still closed.
    let bad = workspace.load_text("week30.ndjson", &bad_week());
    assert_eq!(counts(&bad), received(6).duplicate(2).held(4));
    assert_eq!(
        (&bad["held_before"], &bad["closed"]),
        (&json!(4), &json!(0))
    );
    assert_all_mended(&workspace);

    let figures = workspace.run(&["store", "info", "--format", "json"]).json();
    let figure = |name: &str| figures[name].as_u64().unwrap();
    assert_eq!(
        [
            figure("held"),
            figure("held_open"),
            figure("held_corrected")
        ],
        [4, 0, 4]
    );
}

#[test]
fn what_was_held_comes_back_mended_in_a_spreadsheet() {
    for (form, ending) in [("xlsx", ".xlsx"), ("csv", ".csv")] {
        let workspace = held_week();
        let files = export(&workspace, form, "desk", ending);
        assert_eq!(files.len(), 3);
        let mended = mend(&workspace, &files, &mendings());
        let account = load(&workspace, &mended);
        assert_eq!(
            counts(&account),
            received(4).accepted(4),
            "{form}: {account:#}"
        );
        assert_eq!(account["closed"], 4);
        assert_all_mended(&workspace);
        let again = load(&workspace, &mended);
        assert_eq!(
            (counts(&again), &again["closed"]),
            (received(4).duplicate(4), &json!(0))
        );
        assert_all_mended(&workspace);
    }
}

#[test]
fn an_attempt_that_is_held_again_stands_in_the_place_of_the_first() {
    let workspace = held_week();
    let first = held_id(&workspace, 6);
    let mut still_wrong = full_visit("broken");
    still_wrong["observed_on"] = json!("2026-01-05");
    let attempt = json!({"held_id": first, "record": still_wrong});
    let account = workspace.load_text("attempt", &lines(&[attempt]));
    assert_eq!(
        (counts(&account), &account["closed"]),
        (received(1).held(1), &json!(1))
    );
    assert_eq!(open(&workspace), 4, "one record is open once");
    let second = held_id(&workspace, 1);
    assert_ne!(first, second);

    // The sender mends the first sheet once more: its id leads to the attempt.
    let mut right = full_visit("broken");
    right["visit_id"] = json!("under another id");
    let right = json!({"held_id": first, "record": right});
    let account = workspace.load_text("right", &lines(&[right]));
    assert_eq!(
        (counts(&account), &account["closed"]),
        (received(1).accepted(1), &json!(1))
    );
    assert_eq!(open(&workspace), 3);
    let stored = workspace.store_rows();
    let closed = stored["held_closed"].as_array().unwrap();
    let how: Vec<(&Value, &Value)> = closed
        .iter()
        .map(|closing| (&closing["how"], &closing["replaced_by"]))
        .collect();
    assert_eq!(
        how,
        [
            (&json!("corrected"), &Value::Null),
            (&json!("replaced"), &json!(second))
        ]
    );
    workspace.run(&["store", "verify"]).expect_code(0);
}

#[test]
fn two_loads_of_one_mended_file_close_its_records_once() {
    let workspace = held_week();
    let files = export(&workspace, "ndjson", "desk", ".ndjson");
    let mended = mend(&workspace, &files, &mendings());
    let names: Vec<String> = mended.iter().map(|file| text_of(file)).collect();
    let start = || {
        crate::support::program()
            .arg("--workspace")
            .arg(workspace.path())
            .arg("load")
            .args(&names)
            .spawn()
            .unwrap()
    };
    let loads = [start(), start(), start()];
    for mut running in loads {
        assert_eq!(running.wait().unwrap().code(), Some(0));
    }
    assert_all_mended(&workspace);
}

// --- Dropping ------------------------------------------------------------------------------------

#[test]
fn a_drop_says_who_why_and_what_and_keeps_the_record() {
    let workspace = held_week();
    let id = held_id(&workspace, 2);
    let run = workspace.run(&[
        "held",
        "drop",
        "--yes",
        "--reason",
        " a test ",
        "--by",
        "county office",
        "--id",
        &id,
    ]);
    let run = run.expect_code(0);
    assert!(
        run.stdout
            .contains("dropped 1 record (county office: a test)"),
        "{run:?}"
    );
    assert!(run.stdout.contains(&id));
    assert_eq!(open(&workspace), 3);
    let stored = workspace.store_rows();
    assert_eq!(
        stored["held"].as_array().unwrap().len(),
        4,
        "nothing is deleted"
    );
    let closing = &stored["held_closed"][0];
    assert_eq!(
        (
            &closing["how"],
            &closing["who"],
            &closing["reason"],
            &closing["line"]
        ),
        (
            &json!("dropped"),
            &json!("county office"),
            &json!("a test"),
            &json!(2)
        )
    );

    // It is closed: no second drop; the same bytes do not open it; a mended one is welcome all the same.
    workspace
        .run(&["held", "drop", "--yes", "--reason", "x", "--id", &id])
        .expect_code(1);
    workspace.load_text("week30.ndjson", &bad_week());
    assert_eq!(open(&workspace), 3);
    let account = workspace.load_text("right", &lines(&[full_visit("negative")]));
    assert_eq!(
        (counts(&account), &account["closed"]),
        (received(1).accepted(1), &json!(0))
    );
    workspace.run(&["store", "verify"]).expect_code(0);
}

#[test]
fn no_cell_of_an_export_is_a_formula_whatever_was_sent() {
    let workspace = TestWorkspace::of_region("us:46");
    let formulas = [
        "=1+1",
        "+1+1",
        "-1+1",
        "@SUM(1)",
        "\t=1+1",
        "\r=1+1",
        "\u{ff1d}1+1",
        "\u{ff0b}1",
        "\u{ff0d}1",
        "\u{ff20}SUM(1)",
        "=HYPERLINK(\"http://example.invalid\",\"a\")",
        "=cmd|' /C calc'!A0",
    ];
    // Every member of a visit hostile in its turn, and every formula as a whole record and a file's name.
    let mut text = String::new();
    for (number, formula) in formulas.iter().enumerate() {
        let mut visit = full_visit(&format!("{formula} {number}"));
        for member in [
            "observer_id",
            "protocol",
            "crop_stage",
            "observed_on",
            "remarks",
        ] {
            visit[member] = json!(formula);
        }
        visit["field"]["field_id"] = json!(formula);
        visit["field"]["crop_type"] = json!(formula);
        visit[formula] = json!(formula);
        visit["economics"]["treatment_cost"]["currency"] = json!(formula);
        text += &format!("{visit}\n");
        if !formula.contains(['\r']) {
            text += &format!("{formula}\n");
        }
    }
    let account = workspace.load_text("=1+1.ndjson", &text);
    assert_eq!(account["accepted"], 0);
    let held = account["held"].as_u64().unwrap();
    assert_eq!(held, text.lines().count() as u64);

    for (form, ending) in [("xlsx", ".xlsx"), ("csv", ".csv")] {
        let files = export(&workspace, form, form, ending);
        let names: Vec<String> = files.iter().map(|file| text_of(file)).collect();
        let names: Vec<&str> = names.iter().map(String::as_str).collect();
        let checked: Value =
            serde_json::from_str(&python("tests/reference/check_export.py", &names)).unwrap();
        let mut report = 0;
        for (file, checked) in checked.as_object().unwrap() {
            assert_eq!(checked["formulas"], json!([]), "{file}");
            let texts = checked["texts"].as_array().unwrap();
            report += texts
                .iter()
                .filter(|text| text.as_str().unwrap().contains("=1+1"))
                .count();
        }
        assert!(
            report >= 4,
            "the hostile texts are there, as texts: {report}"
        );
    }
}
