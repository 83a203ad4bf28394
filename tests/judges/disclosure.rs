//! Attacks on the published rows of seasons, computed by an independent program.

use crate::judge::python;
use crate::support::text_of;

/// Three publications of an invented season with outbreaks, on both levels, attacked by independent programs: no limit is
/// broken, and what the attacks reach is what the committed table says. The programs' own checks come first.
#[test]
fn attacks_on_a_season_reach_what_the_table_says() {
    python("tests/reference/test_disclosure.py", &[]);
    let folder = tempfile::tempdir().expect("a temporary folder");
    let table = folder.path().join("DISCLOSURE.md");
    let program = crate::support::program();
    let program = program.get_program().to_str().expect("a UTF-8 path");
    let place = text_of(&folder.path().join("run"));
    python(
        "tests/reference/disclosure_run.py",
        &[program, &place, "--table", &text_of(&table)],
    );
    let found = std::fs::read_to_string(&table).expect("a table");
    let committed = std::fs::read_to_string("tests/reference/DISCLOSURE.md").expect("a table");
    assert_eq!(
        found, committed,
        "write the table anew, and read the difference"
    );
}
