//! Submissions of some fields and a workspace with an issued alert: the store that is cared for, killed and put under faults.

use std::path::PathBuf;

use serde_json::{Value, json};

use crate::support::{TestWorkspace, contents, full_visit, lines};

/// Visits of one submission, each in a field of its own, and a broken line.
pub fn submission(numbers: std::ops::Range<usize>) -> String {
    let broken = format!("{{{}\n", numbers.start);
    let visits: Vec<Value> = numbers.map(visit).collect();
    lines(&visits) + &broken
}

pub fn visit(number: usize) -> Value {
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

pub fn data_files(workspace: &TestWorkspace, table: &str) -> Vec<PathBuf> {
    let files = contents(&workspace.path().join("store").join(table));
    files
        .into_keys()
        .filter(|path| path.extension().is_some_and(|ending| ending == "parquet"))
        .filter(|path| !path.to_string_lossy().contains("_delta_log"))
        .collect()
}

pub fn vacuum(workspace: &TestWorkspace, more: &[&str]) -> Value {
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
