//! Care of the store: files put together, old ones removed, and every file held to its log.

use std::path::{Path, PathBuf};

use crate::support::care::{data_files, vacuum, with_an_alert};
use crate::support::{TestWorkspace, contents};

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
