//! A week with held records of every kind, its export and its loading.

use std::path::{Path, PathBuf};

use serde_json::{Value, json};

use crate::support::{TestWorkspace, counts, full_visit, lines, received, text_of};

/// Four records that are held, each for another reason, among good ones.
pub fn bad_week() -> String {
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

pub fn held_week() -> TestWorkspace {
    let workspace = TestWorkspace::of_region("us:46");
    let account = workspace.load_text("week30.ndjson", &bad_week());
    assert_eq!(counts(&account), received(6).accepted(2).held(4));
    workspace
}

pub fn open(workspace: &TestWorkspace) -> u64 {
    let groups = workspace.run(&["held", "list", "--format", "json"]);
    groups.expect_code(0).json()["open"].as_u64().unwrap()
}

pub fn all(workspace: &TestWorkspace) -> Vec<Value> {
    let list = workspace.run(&["held", "list", "--all", "--format", "json"]);
    list.expect_code(0).json().as_array().unwrap().clone()
}

pub fn held_id(workspace: &TestWorkspace, line: u64) -> String {
    let all = all(workspace);
    let record = all.iter().find(|record| record["line"] == line).unwrap();
    record["held_id"].as_str().unwrap().to_owned()
}

/// The files of an export with this ending.
pub fn export(workspace: &TestWorkspace, form: &str, name: &str, ending: &str) -> Vec<PathBuf> {
    let out = workspace.beside(name);
    let run = workspace.run(&["held", "export", "--out", &text_of(&out), "--format", form]);
    run.expect_code(0);
    let mut files: Vec<PathBuf> = std::fs::read_dir(&out)
        .unwrap()
        .map(|entry| entry.unwrap().path())
        .filter(|path| text_of(path).ends_with(ending))
        .collect();
    files.sort();
    files
}

pub fn load(workspace: &TestWorkspace, files: &[PathBuf]) -> Value {
    let files: Vec<&Path> = files.iter().map(PathBuf::as_path).collect();
    workspace.load(&files)
}
