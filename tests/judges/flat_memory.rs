//! Memory does not grow with the submission: the same run on three times as many records.

use std::io::{BufWriter, Write};
use std::path::{Path, PathBuf};

use bractline::demo::{Expected, Landscape, MessShares, SampleLines, SampleOptions};

use crate::support::TestWorkspace;

/// Writes so many lines of invented visits; how many of them are to be accepted.
fn write_sample(path: &Path, lines: usize) -> u64 {
    let options = SampleOptions {
        seed: 2026,
        fields: usize::MAX,
        mess: MessShares::benchmark(),
        ..SampleOptions::default()
    };
    let sample = SampleLines::new(
        &Landscape::draw(SampleOptions::default().seed).shapes(),
        &options,
    )
    .expect("counties");
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
    let (peak, account) = workspace.load_measured(&file);
    assert_eq!(account["received"], lines);
    assert_eq!(account["accepted"], accepted);
    peak
}

#[test]
fn three_times_the_records_take_little_more_memory() {
    // 52 MB and 158 MB.
    let (third, whole) = (peak_kib(45_000), peak_kib(135_000));
    assert!(whole < 600 * 1024, "{whole} KiB");
    // Known keys are 64 bytes a visit, 6 MB of the difference; what the doubts remember of each field, its
    // point, stage and amounts, is about 50 MB of it: these submissions have as many new fields as visits.
    assert!(whole * 10 <= third * 14, "{third} KiB, then {whole} KiB");
}
