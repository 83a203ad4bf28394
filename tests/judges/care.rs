//! Care of the store, with its files read by a program of others and the program killed under `strace`.

use std::path::PathBuf;

use serde_json::json;

use crate::support::care::{data_files, submission, vacuum, with_an_alert};
use crate::support::{TestWorkspace, contents, counts, received};

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
    assert_eq!(counts(&again), received(6).duplicate(5).held(1));
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
    assert_eq!(counts(&again), received(6).accepted(5).held(1));
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
                assert_eq!(
                    counts(&workspace.load(&[file])),
                    received(6).accepted(5).held(1)
                );
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
