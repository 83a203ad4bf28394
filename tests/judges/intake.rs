//! What the store holds of every form of submission, read by a program of others.

use std::path::Path;

use serde_json::{Value, json};

use crate::support::intake::{packed, visits};
use crate::support::{TestWorkspace, counts, full_visit, lines, received};

/// Every form of three visits: the name, the bytes, how many visits are in it, how a receipt calls it.
fn forms() -> Vec<(String, Vec<u8>, u64, &'static str)> {
    let text = |name: &str| lines(&visits(name, 3));
    let pretty = |value: &Value| serde_json::to_string_pretty(value).expect("JSON");
    let plain = vec![
        ("ndjson", text("ndjson").into_bytes(), 3, "ndjson"),
        (
            "one-line",
            full_visit("one-line").to_string().into_bytes(),
            1,
            "ndjson",
        ),
        (
            "crlf",
            text("crlf").replace('\n', "\r\n").into_bytes(),
            3,
            "ndjson",
        ),
        (
            "mixed",
            text("mixed").replacen('\n', "\r\n", 2).into_bytes(),
            3,
            "ndjson",
        ),
        (
            "blanks",
            format!("\n \t\r\n{}\n\n\r\n", text("blanks").replace('\n', "\n\n")).into_bytes(),
            3,
            "ndjson",
        ),
        (
            "no-last-line-end",
            text("no-last").trim_end().as_bytes().to_vec(),
            3,
            "ndjson",
        ),
        ("empty", Vec::new(), 0, "ndjson"),
        ("blank-alone", b"\n \r\n\n".to_vec(), 0, "ndjson"),
        ("mark-alone", b"\xef\xbb\xbf".to_vec(), 0, "ndjson"),
        (
            "pretty",
            pretty(&full_visit("pretty")).into_bytes(),
            1,
            "json",
        ),
        (
            "pretty-crlf",
            pretty(&full_visit("pretty-crlf"))
                .replace('\n', "\r\n")
                .into_bytes(),
            1,
            "json",
        ),
        (
            "several-pretty",
            format!(
                "{}\n{}",
                pretty(&full_visit("several-1")),
                pretty(&full_visit("several-2"))
            )
            .into_bytes(),
            2,
            "json",
        ),
        (
            "array",
            json!(visits("array", 3)).to_string().into_bytes(),
            3,
            "json",
        ),
        (
            "pretty-array",
            pretty(&json!(visits("pretty-array", 3))).into_bytes(),
            3,
            "json",
        ),
        (
            "marked-array",
            format!("\u{feff} [{}]", full_visit("marked-array")).into_bytes(),
            1,
            "json",
        ),
        ("empty-array", b" [ ]\n".to_vec(), 0, "json"),
    ];
    let packed_forms: Vec<_> = plain
        .iter()
        .map(|(name, bytes, count, form)| {
            // Other visits than in the plain file, so that none is a duplicate.
            let text = String::from_utf8(bytes.clone()).expect("UTF-8");
            let other = text
                .replace("\"visit_id\":\"", "\"visit_id\":\"packed-")
                .replace("\"visit_id\": \"", "\"visit_id\": \"packed-");
            let form = if *form == "json" {
                "json+gzip"
            } else {
                "ndjson+gzip"
            };
            (
                format!("{name}-packed"),
                packed(other.as_bytes()),
                *count,
                form,
            )
        })
        .collect();
    plain
        .into_iter()
        .map(|(name, bytes, count, form)| (name.to_owned(), bytes, count, form))
        .chain(packed_forms)
        .collect()
}

#[test]
fn every_form_is_told_by_its_content_and_never_by_its_name() {
    let workspace = TestWorkspace::of_region("us:46");
    // Endings that lie: each file has that of another form.
    let endings = [
        ".csv",
        ".json",
        ".ndjson",
        ".gz",
        "",
        ".xlsx",
        ".JSON",
        ".ndjson.gz",
    ];
    let forms = forms();
    let paths: Vec<_> = forms
        .iter()
        .zip(endings.iter().cycle())
        .map(|((name, bytes, _, _), ending)| workspace.write(&format!("{name}{ending}"), bytes))
        .collect();
    let paths: Vec<&Path> = paths.iter().map(|path| path.as_path()).collect();
    let account = workspace.load(&paths);
    for ((name, _, count, form), submission) in
        forms.iter().zip(account["submissions"].as_array().unwrap())
    {
        assert_eq!(
            counts(submission),
            received(*count).accepted(*count),
            "{name}: {submission:#}"
        );
        assert_eq!(submission["form"], **form, "{name}");
    }
    let expected: u64 = forms.iter().map(|form| form.2).sum();
    let stored = workspace.store_rows();
    assert_eq!(stored["visits"].as_array().unwrap().len() as u64, expected);
    assert_eq!(stored["units"].as_u64().unwrap(), expected * 20);
}

#[test]
fn a_failure_in_a_later_submission_still_accounts_for_the_earlier_ones() {
    let workspace = TestWorkspace::of_region("us:46");
    let good = workspace.write("a.ndjson", lines(&visits("good", 2)));
    // Longer than any record may be: known only while reading.
    let endless = workspace.write("b.ndjson", vec![b'x'; (128 << 20) + 2]);
    let run = workspace
        .run(&[
            "load",
            &good.display().to_string(),
            &endless.display().to_string(),
        ])
        .expect_code(3);
    assert!(
        run.stdout
            .starts_with("loaded a.ndjson: 2 received = 2 accepted"),
        "{run:#?}"
    );
    assert!(
        run.stdout.contains("line 1 is larger than 128 MiB"),
        "{run:#?}"
    );
    workspace.run(&["store", "verify"]).expect_code(0);
    assert_eq!(
        workspace.store_rows()["receipts"].as_array().unwrap().len(),
        1
    );
}
