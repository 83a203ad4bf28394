//! The held desk: records go back to their senders, come back mended, and are closed; nothing is there
//! twice, nothing is lost.

use std::path::{Path, PathBuf};

use serde_json::{Value, json};

use crate::support::{TestWorkspace, counts, full_visit, lines, python};

/// Four records that are held, each for another reason, among good ones.
fn bad_week() -> String {
    let mut negative = full_visit("negative");
    negative["sites"][0]["heads"][1][2] = json!(-1);
    let mut nameless = full_visit("?");
    nameless.as_object_mut().unwrap().remove("visit_id");
    nameless["observer_id"] = json!("obs-0456");
    let mut conflict = full_visit("good-1");
    conflict["remarks"] = json!("other content");
    let records = [
        full_visit("good-1"),
        negative,
        nameless,
        conflict,
        full_visit("good-2"),
    ];
    lines(&records) + &full_visit("broken").to_string()[..120] + "\n"
}

/// How their senders mend them, for `mend.py`.
fn mendings() -> Value {
    json!({
        "negative": {"/sites/0/heads/1/2": 1},
        "?": {"/visit_id": "named"},
        "good-1": {"/revision": 2},
        "": full_visit("broken"),
    })
}

fn held_week() -> TestWorkspace {
    let workspace = TestWorkspace::of_region("us:46");
    let account = workspace.load_text("week30.ndjson", &bad_week());
    assert_eq!(counts(&account), [6, 2, 0, 4]);
    workspace
}

pub fn open(workspace: &TestWorkspace) -> u64 {
    let groups = workspace.run(&["held", "list", "--format", "json"]);
    groups.expect_code(0).json()["open"].as_u64().unwrap()
}

fn all(workspace: &TestWorkspace) -> Vec<Value> {
    let list = workspace.run(&["held", "list", "--all", "--format", "json"]);
    list.expect_code(0).json().as_array().unwrap().clone()
}

fn held_id(workspace: &TestWorkspace, line: u64) -> String {
    let all = all(workspace);
    let record = all.iter().find(|record| record["line"] == line).unwrap();
    record["held_id"].as_str().unwrap().to_owned()
}

/// The files of an export with this ending.
pub fn export(workspace: &TestWorkspace, form: &str, name: &str, ending: &str) -> Vec<PathBuf> {
    let out = workspace.beside(name);
    let run = workspace.run(&["held", "export", "--out", &shown(&out), "--format", form]);
    run.expect_code(0);
    let mut files: Vec<PathBuf> = std::fs::read_dir(&out)
        .unwrap()
        .map(|entry| entry.unwrap().path())
        .filter(|path| shown(path).ends_with(ending))
        .collect();
    files.sort();
    files
}

pub fn shown(path: &Path) -> String {
    path.display().to_string()
}

pub fn mend(workspace: &TestWorkspace, files: &[PathBuf], mendings: &Value) -> Vec<PathBuf> {
    let how = workspace.write("mendings.json", mendings.to_string());
    let out = workspace.beside("");
    let arguments: Vec<String> = files.iter().map(|file| shown(file)).collect();
    let (out, how) = (shown(&out), shown(&how));
    let mut arguments: Vec<&str> = arguments.iter().map(String::as_str).collect();
    arguments.extend([out.as_str(), how.as_str()]);
    python("tests/reference/mend.py", &arguments);
    let mended = files.iter().map(|file| {
        let name = file.file_name().unwrap().display();
        workspace.beside(&format!("mended-{name}"))
    });
    mended.collect()
}

pub fn load(workspace: &TestWorkspace, files: &[PathBuf]) -> Value {
    let files: Vec<&Path> = files.iter().map(PathBuf::as_path).collect();
    workspace.load(&files)
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
        assert_eq!(closing["how"], "mended");
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
    assert_eq!(counts(&account), [4, 4, 0, 0], "{account:#}");
    assert_eq!(account["closed"], 4);
    assert_all_mended(&workspace);

    // Once more: duplicates, and no second closing.
    let again = load(&workspace, &mended);
    assert_eq!(counts(&again), [4, 0, 4, 0]);
    assert_eq!(again["closed"], 0);
    // The bad file once more: counted as held, as its bytes are, and still closed.
    let bad = workspace.load_text("week30.ndjson", &bad_week());
    assert_eq!(counts(&bad), [6, 0, 2, 4]);
    assert_eq!(
        (&bad["held_before"], &bad["closed"]),
        (&json!(4), &json!(0))
    );
    assert_all_mended(&workspace);

    let figures = workspace.run(&["store", "info", "--format", "json"]).json();
    let figure = |name: &str| figures[name].as_u64().unwrap();
    assert_eq!(
        [figure("held"), figure("held_open"), figure("held_mended")],
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
        assert_eq!(counts(&account), [4, 4, 0, 0], "{form}: {account:#}");
        assert_eq!(account["closed"], 4);
        assert_all_mended(&workspace);
        let again = load(&workspace, &mended);
        assert_eq!(
            (counts(&again), &again["closed"]),
            ([4, 0, 4, 0], &json!(0))
        );
        assert_all_mended(&workspace);
    }
}

#[test]
fn a_sheet_that_comes_back_as_it_went_changes_nothing() {
    let workspace = held_week();
    let before = all(&workspace);
    for (form, ending) in [("xlsx", ".xlsx"), ("csv", ".csv"), ("ndjson", ".ndjson")] {
        let files = export(&workspace, form, form, ending);
        let account = load(&workspace, &files);
        assert_eq!(counts(&account), [4, 0, 0, 4], "{form}");
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
        ([1, 1, 0, 0], &json!(1))
    );
    assert_eq!(open(&workspace), 3);
    // The revision of a conflict is taken: the arrival of that very revision again mends nothing.
    let again = workspace.load_text("good", &lines(&[full_visit("good-1")]));
    assert_eq!(
        (counts(&again), &again["closed"]),
        ([1, 0, 1, 0], &json!(0))
    );
    let mut higher = full_visit("good-1");
    higher["revision"] = json!(2);
    let higher = workspace.load_text("higher", &lines(&[higher]));
    assert_eq!(
        (counts(&higher), &higher["closed"]),
        ([1, 1, 0, 0], &json!(0))
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
        ([1, 0, 1, 0], &json!(0))
    );
    assert_eq!(open(&workspace), 1);
    // Its sender looks and says: the first one was right.
    let wrapped = json!({"held_id": held_id(&workspace, 1), "record": full_visit("a")});
    let named = workspace.load_text("named", &lines(&[wrapped]));
    assert_eq!(
        (counts(&named), &named["closed"]),
        ([1, 0, 1, 0], &json!(1))
    );
    assert_eq!(open(&workspace), 0);
    workspace.run(&["store", "verify"]).expect_code(0);
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
        ([1, 0, 0, 1], &json!(1))
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
        ([1, 1, 0, 0], &json!(1))
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
            (&json!("mended"), &Value::Null),
            (&json!("replaced"), &json!(second))
        ]
    );
    workspace.run(&["store", "verify"]).expect_code(0);
}

#[test]
fn an_id_that_never_was_is_flagged_and_a_broken_one_is_held() {
    let workspace = TestWorkspace::of_region("us:46");
    let unknown = json!({"held_id": "0123456789abcdef-7", "record": full_visit("a")});
    let account = workspace.load_text("unknown", &lines(&[unknown]));
    assert_eq!(
        (counts(&account), &account["closed"]),
        ([1, 1, 0, 0], &json!(0))
    );
    assert_eq!(
        account["submissions"][0]["flags"],
        json!({"held-id-unknown": 1})
    );
    let broken = json!({"held_id": "line 7", "record": full_visit("b")});
    let account = workspace.load_text("broken", &lines(&[broken]));
    assert_eq!(counts(&account), [1, 0, 0, 1]);
}

#[test]
fn files_of_one_run_see_what_the_files_before_them_brought() {
    let workspace = TestWorkspace::of_region("us:46");
    let mut wrong = full_visit("a");
    wrong["crop_stage"] = json!("R77");
    let first = workspace.write("1", lines(&[wrong]));
    let second = workspace.write("2", lines(&[full_visit("a")]));
    let checked = workspace.run(&["check", "--format", "json", &shown(&first), &shown(&second)]);
    assert_eq!(checked.json()["closed"], 1);
    let account = workspace.load(&[&first, &second]);
    assert_eq!(
        (counts(&account), &account["closed"]),
        ([2, 1, 0, 1], &json!(1))
    );
    assert_eq!(open(&workspace), 0);
    workspace.run(&["store", "verify"]).expect_code(0);
}

#[test]
fn two_loads_of_one_mended_file_close_its_records_once() {
    let workspace = held_week();
    let files = export(&workspace, "ndjson", "desk", ".ndjson");
    let mended = mend(&workspace, &files, &mendings());
    let names: Vec<String> = mended.iter().map(|file| shown(file)).collect();
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
        .run(&["held", "drop", "--reason", "x", "--id", &id])
        .expect_code(1);
    workspace.load_text("week30.ndjson", &bad_week());
    assert_eq!(open(&workspace), 3);
    let account = workspace.load_text("right", &lines(&[full_visit("negative")]));
    assert_eq!(
        (counts(&account), &account["closed"]),
        ([1, 1, 0, 0], &json!(0))
    );
    workspace.run(&["store", "verify"]).expect_code(0);
}

#[test]
fn a_drop_is_by_file_or_sender_too_and_all_of_it_or_nothing() {
    let workspace = held_week();
    let drop =
        |arguments: &[&str]| workspace.run(&[&["held", "drop", "--by", "x"], arguments].concat());
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
        .run(&["held", "export", "--out", &shown(&again)])
        .expect_code(0);
    assert!(!again.exists(), "nothing is held, so nothing is written");
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
            .find(|path| shown(path).contains("obs-0123"))
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
    let occupied = workspace.run(&["held", "export", "--out", &shown(&workspace.beside("desk"))]);
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
        [0, 0, 0, 0],
        "nothing to mend in the sheet"
    );
    let own: Vec<PathBuf> = std::fs::read_dir(workspace.beside("desk"))
        .unwrap()
        .map(|entry| entry.unwrap().path())
        .filter(|path| shown(path).ends_with(".json"))
        .collect();
    let text = std::fs::read_to_string(&own[0])
        .unwrap()
        .replace("R77", "R3");
    let account = workspace.load_text("mended", &text);
    assert_eq!(
        (counts(&account), &account["closed"]),
        ([1, 1, 0, 0], &json!(1))
    );
    assert_eq!(open(&workspace), 0);
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
        let names: Vec<String> = files.iter().map(|file| shown(file)).collect();
        let names: Vec<&str> = names.iter().map(String::as_str).collect();
        let checked: Value =
            serde_json::from_str(&python("tests/reference/check_export.py", &names)).unwrap();
        let mut told = 0;
        for (file, checked) in checked.as_object().unwrap() {
            assert_eq!(checked["formulas"], json!([]), "{file}");
            let texts = checked["texts"].as_array().unwrap();
            told += texts
                .iter()
                .filter(|text| text.as_str().unwrap().contains("=1+1"))
                .count();
        }
        assert!(told >= 4, "the hostile texts are there, as texts: {told}");
    }
}
