//! Invented visits by the thousand, as submissions: what the tests that need many share.

use std::collections::{BTreeMap, BTreeSet};
use std::path::PathBuf;

use bractline::demo::{Expected, ExpectedAccount, SampleLine};
use scouting::visit::code::Code;
use serde_json::Value;

use crate::support::{TestWorkspace, text_of};

/// Lines as NDJSON.
pub fn ndjson<'a>(lines: impl IntoIterator<Item = &'a SampleLine>) -> Vec<u8> {
    let mut bytes = Vec::new();
    for line in lines {
        bytes.extend_from_slice(&line.bytes);
        bytes.push(b'\n');
    }
    bytes
}

/// Writes lines beside a workspace as so many submissions, in order.
pub fn submissions(
    workspace: &TestWorkspace,
    name: &str,
    lines: &[SampleLine],
    files: usize,
) -> Vec<PathBuf> {
    lines
        .chunks(lines.len().div_ceil(files))
        .enumerate()
        .map(|(number, lines)| workspace.write(&format!("{name}-{number}.ndjson"), ndjson(lines)))
        .collect()
}

/// Loads submissions in one run; the account.
pub fn load(workspace: &TestWorkspace, submissions: &[PathBuf]) -> Value {
    let paths: Vec<String> = submissions.iter().map(|path| text_of(path)).collect();
    let mut arguments = vec!["load", "--format", "json"];
    arguments.extend(paths.iter().map(String::as_str));
    let run = workspace.run(&arguments);
    assert!(matches!(run.code, Some(0 | 3)), "{run:#?}");
    run.json()
}

/// Holds an account of `load` to what the generator expects of these lines: the four numbers, and how many
/// records are held for each reason.
#[track_caller]
pub fn assert_account(account: &Value, expected: impl IntoIterator<Item = Expected>) {
    let expected: ExpectedAccount = expected.into_iter().collect();
    for (name, expected) in [
        ("received", expected.received),
        ("accepted", expected.accepted),
        ("duplicate", expected.duplicate),
        ("held", expected.held_in_all()),
    ] {
        assert_eq!(account[name], expected, "{name}");
    }
    let submissions = account["submissions"].as_array().expect("submissions");
    let held = submissions
        .iter()
        .flat_map(|submission| submission["held_records"].as_array().expect("held records"));
    let mut found = BTreeMap::new();
    for record in held {
        // One thing is wrong with each broken record, so every finding is about one place.
        let findings = record["findings"].as_array().expect("findings");
        let places: BTreeSet<&str> = findings
            .iter()
            .filter_map(|finding| finding["pointer"].as_str())
            .collect();
        assert_eq!(places.len(), 1, "{record}");
        let code = findings[0]["code"].as_str().expect("a code");
        let code: Code = code.parse().expect("a code of ours");
        *found.entry(code).or_insert(0) += 1;
    }
    assert_eq!(found, expected.held);
}
