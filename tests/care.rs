//! Care of the store: files put together, old ones removed, and every file held to its log.

use std::path::{Path, PathBuf};

use serde_json::{Value, json};

use crate::support::{TestWorkspace, contents, counts, full_visit, lines};

/// Visits of one submission, each in a field of its own, and a broken line.
pub fn submission(numbers: std::ops::Range<usize>) -> String {
    let broken = format!("{{{}\n", numbers.start);
    let visits: Vec<Value> = numbers.map(visit).collect();
    lines(&visits) + &broken
}

fn visit(number: usize) -> Value {
    let mut visit = full_visit(&format!("v-{number}"));
    visit["field"]["field_id"] = json!(format!("F-{number}"));
    visit["sites"][0]["heads"][0][0] = json!(number % 40);
    visit
}

/// A workspace of six submissions, with an alert that was issued in the middle.
pub fn with_an_alert() -> TestWorkspace {
    let workspace = TestWorkspace::of_region("us:46");
    for part in 0..6 {
        workspace.load_text(
            &format!("{part}.ndjson"),
            &submission(part * 5..part * 5 + 5),
        );
        if part == 2 {
            let run = workspace.run(&["alert", "--week", "2026-W30", "--issue"]);
            run.expect_code(0);
        }
    }
    workspace
}

/// A load that is broken off just before its receipt has its name.
pub fn break_off(workspace: &TestWorkspace, name: &str, text: &str) {
    let file = workspace.write(name, text);
    let store = workspace.path().join("store");
    let entries = std::fs::read_dir(store.join("receipts/_delta_log")).unwrap();
    let next = entries
        .filter(|entry| {
            let path = entry.as_ref().unwrap().path();
            path.extension().is_some_and(|ending| ending == "json")
        })
        .count();
    let entry = store.join(format!("receipts/_delta_log/{next:020}.json"));
    let status = std::process::Command::new("strace")
        .args(["-f", "-qq", "-o", "/dev/null"])
        .args(["-e", "inject=linkat:signal=SIGKILL", "-P"])
        .arg(&entry)
        .arg(env!("CARGO_BIN_EXE_bractline"))
        .arg("--workspace")
        .arg(workspace.path())
        .arg("load")
        .arg(file)
        .output()
        .expect("strace is installed; `bash tests/run` installs it");
    assert_eq!(status.status.code(), None, "{status:?}");
}

fn data_files(workspace: &TestWorkspace, table: &str) -> Vec<PathBuf> {
    let files = contents(&workspace.path().join("store").join(table));
    files
        .into_keys()
        .filter(|path| path.extension().is_some_and(|ending| ending == "parquet"))
        .filter(|path| !path.to_string_lossy().contains("_delta_log"))
        .collect()
}

fn vacuum(workspace: &TestWorkspace, more: &[&str]) -> Value {
    let all = [
        "store",
        "vacuum",
        "--older-than",
        "0",
        "--alone",
        "--format",
        "json",
    ];
    workspace.run(&[&all, more].concat()).expect_code(0).json()
}

fn store_version(workspace: &TestWorkspace) -> i64 {
    let info = workspace.run(&["store", "info", "--format", "json"]);
    info.expect_code(0).json()["version"].as_i64().unwrap()
}

fn assert_as_issued(workspace: &TestWorkspace) {
    let run = workspace.run(&["alert", "--as-issued", "1", "--format", "json"]);
    assert_eq!(run.expect_code(0).json()["same"], true);
}

#[test]
fn compact_and_vacuum_change_no_figure_and_an_issued_alert_comes_out_as_it_was() {
    let workspace = with_an_alert();
    let (figures, rows) = (workspace.rolled_up(), workspace.store_rows());
    let before = contents(&workspace.path().join("store"));
    let said = workspace.run(&["store", "compact", "--dry-run", "--format", "json"]);
    assert_eq!(said.json()["together"].as_array().unwrap().len(), 4);
    assert!(contents(&workspace.path().join("store")) == before);
    workspace.run(&["store", "compact"]).expect_code(0);
    assert!(workspace.rolled_up() == figures && workspace.store_rows() == rows);
    let would = vacuum(&workspace, &["--dry-run"]);
    let removed = vacuum(&workspace, &[]);
    assert_eq!(would["files"], removed["files"]);
    // Visits, units and held: six files each became one. So did the receipts, but versions name the six.
    assert_eq!(
        removed["files"].as_array().unwrap().len(),
        18,
        "{removed:#}"
    );
    for table in ["visits", "units", "held"] {
        assert_eq!(data_files(&workspace, table).len(), 1, "{table}");
    }
    assert_eq!(data_files(&workspace, "receipts").len(), 7);
    assert_eq!(store_version(&workspace), 6);
    assert!(workspace.rolled_up() == figures && workspace.store_rows() == rows);
    assert_as_issued(&workspace);
    workspace.run(&["store", "verify"]).expect_code(0);
    // What is known stays known, and what comes next is put together with the rest.
    let again = workspace.load_text("again", &submission(0..5));
    assert_eq!(counts(&again), [6, 0, 5, 1]);
    workspace.load_text("more", &submission(30..35));
    let version = store_version(&workspace);
    assert!(version > 7, "a version is passed over");
    workspace.run(&["store", "compact"]).expect_code(0);
    assert_eq!(store_version(&workspace), version);
    vacuum(&workspace, &[]);
    assert_eq!(data_files(&workspace, "visits").len(), 1);
    assert_as_issued(&workspace);
    workspace.run(&["store", "verify"]).expect_code(0);
}

#[test]
fn rows_without_receipt_are_never_put_together_with_others_and_are_taken_out() {
    let workspace = with_an_alert();
    let figures = workspace.rolled_up();
    break_off(&workspace, "broken-off", &submission(40..45));
    workspace.run(&["store", "compact"]).expect_code(0);
    assert!(workspace.rolled_up() == figures);
    let verified = workspace.run(&["store", "verify", "--format", "json"]);
    assert_eq!(verified.json()["unfinished_loads"], 1);
    // It may still be running: within the limit nothing of it is touched.
    let run = workspace
        .run(&["store", "vacuum", "--format", "json"])
        .json();
    assert_eq!(
        (&run["unfinished"], &run["files"]),
        (&json!([]), &json!([]))
    );
    let removed = vacuum(&workspace, &[]);
    assert_eq!(
        removed["unfinished"].as_array().unwrap().len(),
        3,
        "{removed:#}"
    );
    let verified = workspace.run(&["store", "verify", "--format", "json"]);
    assert_eq!(verified.json()["unfinished_loads"], 0);
    assert!(workspace.rolled_up() == figures);
    assert_as_issued(&workspace);
    assert_eq!(vacuum(&workspace, &[])["files"], json!([]));
    let again = workspace.load_text("broken-off", &submission(40..45));
    assert_eq!(counts(&again), [6, 5, 0, 1]);
}

#[test]
fn vacuum_takes_what_nobody_reads_and_nothing_else() {
    let workspace = with_an_alert();
    let store = workspace.path().join("store");
    let issued = workspace.path().join("alerts/issued");
    let left = [
        store.join("visits/season=2026/part-00000-never-named.parquet"),
        store.join("visits/season=2026/_staged-0198c0de.tmp#1"),
        store.join("receipts/_delta_log/_staged-0198c0de.tmp"),
        issued.join(".0002-01990000-0000-7000-8000-000000000000"),
        issued.join(".being-written-abc"),
    ];
    let mine = [
        store.join("visits/note.txt"),
        store.join("receipts/_delta_log/notes.json"),
        issued.join(".hidden"),
    ];
    for path in left.iter().chain(&mine) {
        std::fs::write(path, "x").unwrap();
    }
    let before = contents(&workspace.path());
    vacuum(&workspace, &["--dry-run"]);
    workspace.run(&["store", "vacuum"]).expect_code(0);
    assert!(
        contents(&workspace.path()) == before,
        "too young, or a dry run"
    );
    vacuum(&workspace, &[]);
    let after = contents(&workspace.path());
    let gone: Vec<&PathBuf> = before
        .keys()
        .filter(|path| !after.contains_key(*path))
        .collect();
    let mut expected: Vec<&PathBuf> = left.iter().collect();
    expected.sort();
    assert_eq!(gone, expected);
    for age in [&["--older-than", "0"][..], &["--older-than", "-1"]] {
        let run = workspace.run(&[&["store", "vacuum"], age].concat());
        assert!(matches!(run.code, Some(1 | 2)), "{run:?}");
    }
}

#[test]
fn compact_and_vacuum_run_beside_loads_and_readers() {
    let workspace = TestWorkspace::of_region("us:46");
    workspace.load_text("first", &submission(0..5));
    let files: Vec<PathBuf> = (1..9)
        .map(|part| {
            let text = submission(part * 5..part * 5 + 5);
            workspace.write(&format!("{part}.ndjson"), text)
        })
        .collect();
    std::thread::scope(|scope| {
        let loads = scope.spawn(|| {
            for file in &files {
                assert_eq!(counts(&workspace.load(&[file])), [6, 5, 0, 1]);
            }
        });
        let mut rounds = 0;
        while !loads.is_finished() {
            workspace.run(&["store", "compact"]).expect_code(0);
            workspace
                .run(&["store", "vacuum", "--older-than", "1"])
                .expect_code(0);
            workspace.run(&["store", "verify"]).expect_code(0);
            rounds += 1;
        }
        assert!(rounds > 1, "care ran beside the loads");
    });
    let rows = workspace.store_rows();
    assert_eq!(rows["visits"].as_array().unwrap().len(), 45);
    assert_eq!(rows["units"], 45 * 20);
    workspace.run(&["store", "verify"]).expect_code(0);
}

/// The first data file of a table, and its bytes.
fn a_file(workspace: &TestWorkspace, table: &str) -> (PathBuf, Vec<u8>) {
    let path = data_files(workspace, table).remove(0);
    let bytes = std::fs::read(&path).unwrap();
    (path, bytes)
}

#[track_caller]
fn assert_named(workspace: &TestWorkspace, path: &Path, what: &str) {
    let run = workspace.run(&["store", "verify", "--format", "json"]);
    assert_eq!(run.code, Some(1), "{what}: {run:#?}");
    let problems = run.json()["problems"].as_array().unwrap().clone();
    let name = path.file_name().unwrap().to_string_lossy().into_owned();
    assert_eq!(problems.len(), 1, "{what}: {problems:#?}");
    let said = problems[0].as_str().unwrap();
    assert!(said.contains(&name), "{what}: {said}");
}

#[test]
fn a_torn_or_flipped_file_is_named_and_nothing_is_made_of_it() {
    let workspace = with_an_alert();
    for table in ["visits", "units", "held", "receipts", "alerts"] {
        let (path, bytes) = a_file(&workspace, table);
        let flipped = |place: usize| {
            let mut flipped = bytes.clone();
            flipped[place] ^= 1;
            flipped
        };
        let mut zeroed = bytes.clone();
        zeroed[100..140].fill(0);
        for (what, damaged) in [
            ("one byte short", bytes[..bytes.len() - 1].to_vec()),
            ("half", bytes[..bytes.len() / 2].to_vec()),
            ("empty", Vec::new()),
            ("zeroes", zeroed),
            ("a bit in the data", flipped(60)),
            ("a bit in the footer", flipped(bytes.len() - 30)),
            ("a bit in the middle", flipped(bytes.len() / 2)),
        ] {
            std::fs::write(&path, damaged).unwrap();
            assert_named(&workspace, &path, &format!("{table}, {what}"));
            if table == "visits" {
                let run = workspace.run(&["store", "compact"]).expect_code(1);
                let name = path.file_name().unwrap().to_string_lossy().into_owned();
                assert!(run.stderr.contains(&name), "{run:#?}");
            }
        }
        std::fs::remove_file(&path).unwrap();
        assert_named(&workspace, &path, &format!("{table}, gone"));
        std::fs::write(&path, &bytes).unwrap();
    }
    workspace.run(&["store", "verify"]).expect_code(0);
}

#[test]
fn a_broken_log_entry_is_named_and_nothing_is_removed() {
    let workspace = with_an_alert();
    let log = workspace.path().join("store/visits/_delta_log");
    let entry = log.join("00000000000000000003.json");
    let text = std::fs::read_to_string(&entry).unwrap();
    for (what, damaged) in [
        ("torn", text[..text.len() / 2].to_owned()),
        ("empty", String::new()),
        ("no JSON", text.replace('{', "(")),
        ("another size", text.replace("\"size\":", "\"size\":1")),
        (
            "other rows",
            text.replace("numRecords\\\":5", "numRecords\\\":4"),
        ),
        // Readers pass over files by this: they would miss rows in silence.
        ("another range", text.replace("2026-W30", "2026-W31")),
    ] {
        assert_ne!(damaged, text, "{what}");
        std::fs::write(&entry, damaged).unwrap();
        let run = workspace.run(&["store", "verify", "--format", "json"]);
        assert_eq!(run.code, Some(1), "{what}: {run:#?}");
        let said = run.json()["problems"].to_string();
        assert!(said.contains("visits: "), "{what}: {said}");
        let before = contents(&workspace.path().join("store"));
        if matches!(what, "torn" | "empty" | "no JSON") {
            assert!(said.contains("00000000000000000003.json"), "{what}: {said}");
            let run = workspace.run(&["store", "vacuum", "--older-than", "0", "--alone"]);
            assert_eq!(run.code, Some(1), "{what}: {run:#?}");
        }
        assert!(
            contents(&workspace.path().join("store")) == before,
            "{what}"
        );
    }
    std::fs::remove_file(&entry).unwrap();
    let run = workspace.run(&["store", "verify", "--format", "json"]);
    let said = run.expect_code(1).json()["problems"].to_string();
    assert!(
        said.contains("00000000000000000003.json is missing"),
        "{said}"
    );
    std::fs::write(&entry, text).unwrap();
    workspace.run(&["store", "verify"]).expect_code(0);
}
