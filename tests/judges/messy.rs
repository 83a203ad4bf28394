//! Messy files that other people's programs made, each with its truth: nothing wrong is stored without a flag, most is read
//! wholly, and the rest is refused or held in clear words. `messy/RESULTS.md` has what becomes of each.

use std::path::Path;

use crate::judge::python;

const RESULTS: &str = "tests/judges/messy/RESULTS.md";

#[test]
fn no_messy_file_is_stored_wrong_and_none_comes_out_worse_than_the_table_says() {
    let folder = tempfile::tempdir().expect("a temporary folder");
    let table = folder.path().join("RESULTS.md");
    let [files, table_path] =
        [folder.path().join("files"), table.clone()].map(|path| path.display().to_string());
    let program = env!("CARGO_BIN_EXE_bractline");
    let said = python(
        "tests/judges/messy/run.py",
        &[
            "--strict",
            "--no-worse-than",
            RESULTS,
            "--table",
            &table_path,
            program,
            &files,
        ],
    );
    assert!(said.contains("\"whole\""), "{said}");
    if std::env::var_os("BLESS").is_some() {
        let to = Path::new(env!("CARGO_MANIFEST_DIR")).join(RESULTS);
        std::fs::copy(table, to).expect("the table is written");
    }
}

#[test]
fn the_judge_of_messy_files_finds_what_is_wrong() {
    python("tests/judges/messy/test_judge.py", &[]);
}
