//! A wide sheet with rows that are held.

use std::path::Path;

use serde_json::Value;

use crate::support::{TestWorkspace, assert_adds_up, text_of};

pub const WIDE: &str = "sample_data/mappings/wide.toml";

// --- What was sent -------------------------------------------------------------------------------

/// Three visits in the layout of `wide.csv`: a good one, one of which cells cannot be read, one that the rules hold.
pub fn wide() -> String {
    let text = std::fs::read_to_string("sample_data/mappings/wide.csv").expect("the sample");
    let rows: Vec<&str> = text.lines().collect();
    let unreadable = rows[4]
        .replace("F-9002", "F-9003")
        .replace("7/21/2026", "21/7/2026")
        .replace("$9.50", "about nine")
        .replace(",2,0,2,0,0,0,E", ",2,0,1/2,0,0,0,E");
    let implausible = rows[4]
        .replace("F-9002", "F-9004")
        .replace("obs-9002", "obs-9004")
        .replace(",250,", ",2500000,")
        .replace(",R2,", ",R77,");
    let broken = [rows[4], &unreadable, &implausible];
    [&rows[..3], &broken].concat().join("\r\n") + "\r\n"
}

pub fn load_mapped(workspace: &TestWorkspace, file: &Path, mapping: &str) -> Value {
    let run = workspace.run(&[
        "load",
        "--format",
        "json",
        &text_of(file),
        "--mapping",
        mapping,
    ]);
    let account = run.json();
    assert!(matches!(run.code, Some(0 | 3)), "{run:#?}");
    assert_adds_up(&account);
    account
}
