//! Memory does not grow with the submission: the same run on three times as many records.

use std::io::{BufWriter, Write};
use std::path::{Path, PathBuf};

use bractline::sample::{Expected, Landscape, MessShares, SampleLines, SampleOptions};
use serde_json::Value;

use crate::support::{TestWorkspace, python};

/// Writes so many lines of invented visits; how many of them are to be accepted.
fn write_sample(path: &Path, lines: usize) -> u64 {
    let options = SampleOptions {
        seed: 2026,
        fields: usize::MAX,
        mess: MessShares::benchmark(),
        ..SampleOptions::default()
    };
    let sample = SampleLines::new(&Landscape::draw(2026).shapes(), &options).expect("counties");
    let mut file = BufWriter::new(std::fs::File::create(path).expect("a file"));
    let mut accepted = 0;
    for line in sample.take(lines) {
        file.write_all(&line.bytes)
            .and_then(|()| file.write_all(b"\n"))
            .expect("a line");
        accepted += u64::from(line.expected == Expected::Accepted);
    }
    file.flush().expect("the last lines");
    accepted
}

/// Peak resident memory of a load of so many lines, KiB.
fn peak_kib(lines: usize) -> u64 {
    let workspace = TestWorkspace::of_invented_region();
    let file: PathBuf = workspace.beside("visits.ndjson");
    let accepted = write_sample(&file, lines);
    let text = python(
        "tests/reference/measured.py",
        &[
            env!("CARGO_BIN_EXE_bractline"),
            "--workspace",
            &workspace.path().display().to_string(),
            "load",
            "--format",
            "json",
            &file.display().to_string(),
        ],
    );
    let measured: Value = serde_json::from_str(&text).expect("JSON from a program of ours");
    assert_eq!(measured["code"], 3, "{}", measured["stderr"]);
    let account: Value = serde_json::from_str(measured["stdout"].as_str().unwrap()).unwrap();
    assert_eq!(account["received"], lines);
    assert_eq!(account["accepted"], accepted);
    let peak = measured["peak_kib"].as_u64().unwrap();
    eprintln!(
        "{lines} records: {} MiB in {:.1} s",
        peak / 1024,
        measured["seconds"].as_f64().unwrap()
    );
    peak
}

#[test]
fn three_times_the_records_take_little_more_memory() {
    // 52 MB and 158 MB.
    let (third, whole) = (peak_kib(45_000), peak_kib(135_000));
    assert!(whole < 600 * 1024, "{whole} KiB");
    // Known keys are 64 bytes a visit, 6 MB of the difference; the rest is noise of the allocator.
    assert!(whole * 4 <= third * 5, "{third} KiB, then {whole} KiB");
}
