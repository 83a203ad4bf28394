//! A load and a roll-up cost no more than so many times what the least reading of the same records costs.
//!
//! Only a ratio within one run is looked at, of seconds of processors: how fast the machine is, and what else it
//! does, falls out of it. In the development profile 4.1 and 2.0 were measured while the machine was busy; the bounds
//! are two and a half times and three times that: they catch what has become several times as slow, not what lost a
//! tenth. `tests/benches/side_by_side.sh` measures in earnest.

use bractline::demo::{Landscape, MessShares, SampleLines, SampleOptions};
use floor_visit::Visit;

use crate::support::TestWorkspace;

#[path = "../benches/floor_visit.rs"]
mod floor_visit;

const VISITS: usize = 20_000;

/// A load to the reading of its records.
const LOAD_MAX: f64 = 10.0;

/// A roll-up to the reading of the records that it is based on.
const ROLL_UP_MAX: f64 = 6.0;

/// Seconds of a processor that this thread has used.
fn thread_seconds() -> f64 {
    let times = std::fs::read_to_string("/proc/thread-self/schedstat").expect("times of Linux");
    let nanoseconds = times.split_whitespace().next().expect("a time");
    nanoseconds.parse::<f64>().expect("a number") / 1e9
}

fn lines() -> Vec<Vec<u8>> {
    let options = SampleOptions {
        seed: 2026,
        fields: usize::MAX,
        mess: MessShares::benchmark(),
        ..SampleOptions::default()
    };
    let landscape = Landscape::draw(SampleOptions::default().seed);
    let sample = SampleLines::new(&landscape.shapes(), &options).expect("counties");
    sample.take(VISITS).map(|line| line.bytes).collect()
}

/// What reading every record into the plainest types costs.
fn floor_seconds(lines: &[Vec<u8>]) -> f64 {
    let before = thread_seconds();
    let read = lines
        .iter()
        .filter(|line| serde_json::from_slice::<Visit<'_>>(line).is_ok());
    assert!(read.count() > VISITS * 9 / 10);
    thread_seconds() - before
}

/// Seconds of processors that a command takes.
fn seconds(workspace: &TestWorkspace, arguments: &[&str]) -> f64 {
    let measured = workspace.measured(arguments);
    measured["cpu_seconds"].as_f64().expect("a number")
}

#[test]
fn a_load_and_a_roll_up_stay_in_proportion_to_reading() {
    let workspace = TestWorkspace::of_invented_region();
    let lines = lines();
    let file = workspace.write("visits.ndjson", lines.join(&b'\n'));
    let figures = workspace.beside("figures");
    let floor = floor_seconds(&lines);
    for (arguments, times_max) in [
        (["load", &file.display().to_string()].as_slice(), LOAD_MAX),
        (
            &["rollup", "--out", &figures.display().to_string()],
            ROLL_UP_MAX,
        ),
    ] {
        let times = seconds(&workspace, arguments) / floor;
        println!(
            "{}: {times:.1} times the {floor:.3} s of reading",
            arguments[0]
        );
        assert!(
            times < times_max,
            "{} took {times:.1} times the {floor:.3} s of reading, where {times_max} is the most",
            arguments[0]
        );
    }
}
