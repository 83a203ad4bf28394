//! What every message of the program has: the words, the place and what to do.

use crate::support::Run;

// --- Messages ------------------------------------------------------------------------------------

/// Holds a failure's message to its form: `error:`, perhaps `where:`, and `help:`, a line each, and to what
/// it must say.
#[track_caller]
pub fn assert_message(run: &Run, says: &[&str]) {
    let titles: Vec<&str> = run
        .stderr
        .lines()
        .map(|line| line.split(':').next().unwrap_or_default())
        .collect();
    let whole = titles == ["error", "where", "help"] || titles == ["error", "help"];
    assert!(whole, "not error, where and help: {run:#?}");
    for part in says {
        assert!(run.stderr.contains(part), "no {part:?} in:\n{}", run.stderr);
    }
}
