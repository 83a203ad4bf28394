//! Ids as they are written, and random submissions that add up.

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};

use bractline::demo::{Expected, SampleLine};
use proptest::prelude::*;
use proptest::test_runner::{Config, TestRunner};
use serde_json::Value;

use crate::support::identity::{sample, text_of};
use crate::support::{Counts, TestWorkspace, counts, full_visit, lines, received};

#[test]
fn an_id_is_taken_as_it_is_written() {
    let workspace = TestWorkspace::of_region("us:46");
    // Letters, a composed and a decomposed accent: none is the other.
    let ids = ["a", "A", "\u{e9}", "e\u{301}", "a b", "1", "1.0"];
    let visits: Vec<Value> = ids.iter().map(|id| full_visit(id)).collect();
    assert_eq!(
        counts(&workspace.load_text("ids", &lines(&visits))),
        received(7).accepted(7)
    );
}

/// What must become of a line that was sent before.
fn sent_again(expected: Expected) -> Expected {
    match expected {
        Expected::Accepted | Expected::Duplicate => Expected::Duplicate,
        held => held,
    }
}

/// Sends lines a second time at random later places, and cuts the whole into files.
fn split_and_repeated(
    lines: &[SampleLine],
    repeats: &[(prop::sample::Index, prop::sample::Index)],
    cuts: &[prop::sample::Index],
) -> Vec<Vec<SampleLine>> {
    let mut all = lines.to_vec();
    for (which, place) in repeats {
        let which = which.index(all.len());
        let mut again = all[which].clone();
        again.expected = sent_again(again.expected);
        let place = which + 1 + place.index(all.len() - which);
        all.insert(place, again);
    }
    let mut ends: Vec<usize> = cuts.iter().map(|cut| cut.index(all.len())).collect();
    ends.extend([0, all.len()]);
    ends.sort_unstable();
    ends.windows(2)
        .map(|pair| all[pair[0]..pair[1]].to_vec())
        .collect()
}

fn expected_of(lines: &[SampleLine]) -> (Counts, BTreeMap<String, u64>) {
    let count = |wanted: fn(&Expected) -> bool| {
        lines.iter().filter(|line| wanted(&line.expected)).count() as u64
    };
    let accepted = count(|expected| *expected == Expected::Accepted);
    let duplicate = count(|expected| *expected == Expected::Duplicate);
    let mut codes = BTreeMap::new();
    for line in lines {
        if let Expected::Held(code) = line.expected {
            *codes.entry(code.to_string()).or_default() += 1;
        }
    }
    let held = codes.values().sum();
    let numbers = received(lines.len() as u64)
        .accepted(accepted)
        .duplicate(duplicate)
        .held(held);
    (numbers, codes)
}

fn held_codes(submission: &Value) -> BTreeMap<String, u64> {
    let mut codes = BTreeMap::new();
    for report in submission["held_records"].as_array().unwrap() {
        let findings = report["findings"].as_array().unwrap();
        assert_eq!(
            findings.len(),
            1,
            "a sample record is broken in one way: {report:#}"
        );
        *codes
            .entry(findings[0]["code"].as_str().unwrap().to_owned())
            .or_default() += 1;
    }
    codes
}

#[test]
fn random_submissions_add_up_to_what_is_expected_of_them() {
    let index = any::<prop::sample::Index>;
    let strategy = (
        0..1_000_u64,
        prop::collection::vec((index(), index()), 0..25),
        prop::collection::vec(index(), 0..5),
    );
    // Each case starts the program four times; proptest prints the smallest case that fails.
    let config = Config {
        cases: 12,
        max_shrink_iters: 40,
        failure_persistence: None,
        ..Config::default()
    };
    let empty = TestWorkspace::of_invented_region();
    let mut runner = TestRunner::new(config);
    let result = runner.run(&strategy, |(seed, repeats, cuts)| {
        let workspace = empty.copied();
        let files = split_and_repeated(&sample(seed, 12), &repeats, &cuts);
        let paths: Vec<PathBuf> = files
            .iter()
            .enumerate()
            .map(|(number, lines)| workspace.write(&format!("{number}.ndjson"), text_of(lines)))
            .collect();
        // The first half in one run, the rest in another.
        let paths: Vec<&Path> = paths.iter().map(PathBuf::as_path).collect();
        let (some, others) = paths.split_at(paths.len() / 2);
        let submissions: Vec<Value> = [some, others]
            .into_iter()
            .filter(|files| !files.is_empty())
            .flat_map(|files| {
                workspace.load(files)["submissions"]
                    .as_array()
                    .unwrap()
                    .clone()
            })
            .collect();
        for (lines, submission) in files.iter().zip(&submissions) {
            let (numbers, codes) = expected_of(lines);
            prop_assert_eq!(counts(submission), numbers);
            prop_assert_eq!(held_codes(submission), codes);
        }
        let (numbers, _) = expected_of(&files.concat());
        let info = workspace.run(&["store", "info", "--format", "json"]).json();
        prop_assert_eq!(info["received"].as_u64(), Some(numbers.received));
        prop_assert_eq!(info["accepted"].as_u64(), Some(numbers.accepted));
        prop_assert_eq!(info["duplicate"].as_u64(), Some(numbers.duplicate));
        prop_assert_eq!(workspace.run(&["store", "verify"]).code, Some(0));
        Ok(())
    });
    if let Err(error) = result {
        panic!("{error}");
    }
}
