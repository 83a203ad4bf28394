//! The demo from start to end, with its store read by a program of others.

use std::collections::BTreeMap;
use std::path::Path;

use bractline::demo::{ExpectedAccount, SampleOptions, demo_files};
use bractline::gate::pdf_words::words_of_pdf;
use scouting::visit::code::Code;

use crate::judge::python;
use crate::support::cli::assert_message;
use crate::support::{bractline, contents, text_of};

/// The alert page without the time of the newest load, the one thing in it that is not of the data.
fn without_its_times(page: &str) -> String {
    let moment =
        regex::Regex::new(r"[A-Z][a-z]+\s\d{1,2},\s\d{4},\s\d{2}:\d{2}\sUTC").expect("a pattern");
    assert!(moment.is_match(page), "the page says when it was made");
    moment.replace_all(page, "").split_whitespace().collect()
}

#[test]
fn the_demo_does_the_whole_job_and_twice_the_same() {
    let folder = tempfile::tempdir().expect("a temporary folder");
    let demo = |name: &str| {
        let path = folder.path().join(name);
        let run = bractline(&["demo", &text_of(&path)]).expect_code(0);
        assert_eq!(run.stderr, "");
        (path, run.stdout)
    };
    let (one, said) = demo("one");

    // What it says was received is what the sample holds.
    let sample = demo_files(&SampleOptions::default()).expect("the sample");
    let mut expected = ExpectedAccount::default();
    for submission in &sample.submissions {
        expected.received += submission.expected.received;
        expected.accepted += submission.expected.accepted;
        expected.duplicate += submission.expected.duplicate;
        for (code, count) in &submission.expected.held {
            *expected.held.entry(*code).or_default() += count;
        }
    }
    let said_without_commas = said.replace(',', "");
    let sentence = format!(
        "{} received = {} accepted + {} duplicate + {} held",
        expected.received,
        expected.accepted,
        expected.duplicate,
        expected.held_in_all()
    );
    assert!(
        said_without_commas.contains(&sentence),
        "no {sentence:?} in:\n{said}"
    );
    let path = text_of(&one);
    // All that was held, whether a good copy that came later has closed it or not.
    let stored = python("tests/reference/store_rows.py", &[&path]);
    let stored: serde_json::Value = serde_json::from_str(&stored).expect("rows of the store");
    let mut by_code: BTreeMap<Code, usize> = BTreeMap::new();
    for record in stored["held"].as_array().expect("held records") {
        let code = record["reasons"][0]["code"].as_str().expect("a code");
        *by_code
            .entry(code.parse().expect("a code of ours"))
            .or_default() += 1;
    }
    assert_eq!(by_code, expected.held);
    for submission in &sample.submissions {
        let loaded = std::fs::read(one.join("submissions").join(&submission.file_name));
        assert!(loaded.expect("the submission") == submission.bytes);
    }

    // Every path that it prints is there.
    let paths: Vec<&str> = said
        .lines()
        .filter_map(|line| line.trim_start().split("  ").next())
        .filter(|word| word.starts_with(&path))
        .collect();
    assert_eq!(paths.len(), 4, "{said}");
    for path in &paths {
        assert!(Path::new(path).is_file(), "{path}");
    }
    // And so do the commands that it names.
    for command in said
        .lines()
        .filter_map(|line| line.trim_start().strip_prefix("bractline "))
    {
        let arguments: Vec<&str> = command.split(' ').collect();
        bractline(&arguments).expect_code(0);
    }

    // Into the same folder: refused, and nothing is touched.
    let before = contents(&one);
    let again = bractline(&["demo", &path]).expect_code(1);
    assert_message(&again, &["it is not empty"]);
    assert!(contents(&one) == before, "a refused demo changes nothing");

    // Into another: the same figures and the same page.
    let (other, _) = demo("other");
    let figures = contents(&one.join("figures"));
    assert_eq!(figures.len(), 23, "{:?}", figures.keys());
    for (path, content) in figures {
        let name = path.strip_prefix(&one).expect("in the folder");
        let second = std::fs::read(other.join(name)).expect("the same file");
        assert!(content == second, "{} differs", name.display());
    }
    let alerts = contents(&other.join("alerts"));
    // Two issued, one drafted, a page for each of the three weeks, and the boundaries that the issued ones are based on.
    assert_eq!(alerts.len(), 3 * 14 + 3 + 1, "{:?}", alerts.keys());
    for (path, content) in alerts {
        let name = path.strip_prefix(&other).expect("in the folder");
        let first = std::fs::read(one.join(name)).expect("the same file");
        let is_page = ["alert.html", "alert.md", "email.html"].map(|page| name.ends_with(page));
        if name.ends_with("alert.pdf") {
            let page = |bytes: &[u8]| without_its_times(&words_of_pdf(bytes).expect("a PDF"));
            assert!(page(&first) == page(&content), "{} differs", name.display());
        } else if is_page.contains(&true) {
            let page =
                |bytes: Vec<u8>| without_its_times(&String::from_utf8(bytes).expect("UTF-8"));
            assert!(page(first) == page(content), "{} differs", name.display());
        } else {
            assert!(first == content, "{} differs", name.display());
        }
    }
}
