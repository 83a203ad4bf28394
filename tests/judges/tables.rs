//! Tables made by other people's programs give back what was written into them; files that are made to
//! exhaust their reader are refused in little time and memory. Not here: what a mapping makes of a table.

use std::path::{Path, PathBuf};
use std::process::Command;

use intake::read::formats::look_at;
use intake::read::reader::RecordReader;
use intake::read::sheets::read_sheets;
use intake::sheet::table::{Cell, Sheet};
use serde_json::{Map, Value, json};

use crate::judge::python;
use crate::support::TestWorkspace;

/// Names the file that a process of this test binary is to read.
const FILE_TO_READ: &str = "BRACTLINE_TEST_FILE_TO_READ";

/// How long a refusal may take: a second of computing, more on a slow machine or beside other programs,
const SECONDS_MAX: f64 = 2.5;

/// and this much memory beyond what the process had before.
const MEMORY_BYTES_MAX: u64 = 64 << 20;

/// A text is held whole beside its cells.
const TEXT_MEMORY_BYTES_MAX: u64 = 192 << 20;

fn read(path: &Path) -> Result<Vec<Sheet>, String> {
    let name = path.file_name().unwrap_or_default().to_string_lossy();
    let file = look_at(path, &name).map_err(|failure| failure.to_string())?;
    read_sheets(&file, None).map_err(|failure| failure.to_string())
}

/// A folder of files that a program in `tests/reference` makes, and the list that it writes of them.
fn made(script: &str, list: &str) -> (tempfile::TempDir, Map<String, Value>) {
    let folder = tempfile::tempdir().expect("a temporary folder");
    let path = folder.path().display().to_string();
    python(&format!("tests/reference/{script}"), &[&path]);
    let list = std::fs::read_to_string(folder.path().join(list)).expect("the program's list");
    let list = serde_json::from_str(&list).expect("the list is JSON");
    (folder, list)
}

fn shown(sheets: &[Sheet]) -> Value {
    let rows = |sheet: &Sheet| -> Vec<Value> {
        let cells = |cells: &[Cell]| cells.iter().map(shown_cell).collect::<Vec<_>>();
        let rows = sheet.rows.iter();
        rows.map(|row| json!([row.number, cells(&row.cells)]))
            .collect()
    };
    let sheets = sheets.iter();
    sheets
        .map(|sheet| json!({"name": sheet.name, "rows": rows(sheet)}))
        .collect()
}

/// As in the list of the program; whole numbers as whole numbers.
fn shown_cell(cell: &Cell) -> Value {
    match cell {
        Cell::Empty => Value::Null,
        Cell::Text(text) => json!(text),
        Cell::Number(number) if number.fract() == 0.0 => json!(*number as i64),
        Cell::Number(number) => json!(number),
        Cell::Truth(truth) => json!(truth),
        Cell::Date(day) => json!({"date": day.to_string()}),
        Cell::Moment(moment) => json!({"moment": moment.to_string()}),
        Cell::Broken(why) => json!({"broken": why}),
        Cell::Percent(number) => json!({"percent": number}),
        Cell::Struck(cell) => json!({"struck": shown_cell(cell)}),
    }
}

#[test]
fn cells_come_back_as_other_programs_wrote_them() {
    let (folder, expected) = made("make_tables.py", "expected.json");
    assert!(
        expected.len() >= 25,
        "the program made {} files",
        expected.len()
    );
    let mut wrong = Vec::new();
    for (name, sheets) in &expected {
        match read(&folder.path().join(name)) {
            Ok(read) if shown(&read) == *sheets => {}
            Ok(read) => wrong.push(format!(
                "{name}:\n  read    {}\n  written {sheets}",
                shown(&read)
            )),
            Err(failure) => wrong.push(format!("{name}: {failure}")),
        }
    }
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));

    let sealed = read(&folder.path().join("sealed.xlsx")).unwrap_err();
    assert!(sealed.contains("password"), "{sealed}");
    nested_parquet_is_the_same_records(folder.path());
}

/// Visits written by pyarrow, against the same visits as NDJSON.
fn nested_parquet_is_the_same_records(folder: &Path) {
    let records = |name: &str| -> Vec<Value> {
        let file = look_at(&folder.join(name), name).expect("a submission");
        let reader = RecordReader::open(&file, None).expect("a submission of records");
        let records = reader.flat_map(|chunk| chunk.expect("a sound file"));
        records
            .map(|record| serde_json::from_slice(&record.kept()).expect("JSON"))
            .collect()
    };
    let written = records("visits.ndjson");
    assert_eq!(written.len(), 3);
    assert_eq!(records("visits.parquet"), written);

    let workspace = TestWorkspace::of_region("us:46");
    let path = folder.join("visits.parquet").display().to_string();
    let run = workspace
        .run(&["load", &path, "--format", "json"])
        .expect_code(0);
    assert_eq!(run.json()["accepted"], 3, "{run:?}");
    let path = folder.join("visits.ndjson").display().to_string();
    let run = workspace
        .run(&["load", &path, "--format", "json"])
        .expect_code(0);
    assert_eq!(run.json()["duplicate"], 3, "{run:?}");
}

/// Each file is read in a process of its own: this test again, with a file to read.
#[test]
fn a_hostile_table_is_refused_in_a_second_and_64_mib() {
    if let Some(path) = std::env::var_os(FILE_TO_READ) {
        return report(&PathBuf::from(path));
    }
    let (folder, refusals) = made("make_hostile_tables.py", "refusals.json");
    assert!(
        refusals.len() >= 30,
        "the program made {} files",
        refusals.len()
    );
    let mut wrong = Vec::new();
    for (name, word) in &refusals {
        let account = account_of(&folder.path().join(name));
        println!("{name}: {account}");
        let refusal = account["refusal"].as_str().unwrap_or_default();
        let refused = refusal.contains(word.as_str().expect("a word"));
        let quick = account["seconds"]
            .as_f64()
            .is_some_and(|seconds| seconds < SECONDS_MAX);
        let bytes_max = match name.ends_with(".csv") {
            true => TEXT_MEMORY_BYTES_MAX,
            false => MEMORY_BYTES_MAX,
        };
        let small = account["bytes"]
            .as_u64()
            .is_some_and(|bytes| bytes < bytes_max);
        if !(refused && quick && small) {
            wrong.push(format!("{name} ({word}): {account}"));
        }
    }
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}

/// What a process of its own came to that read this file.
fn account_of(path: &Path) -> Value {
    let test = "tables::a_hostile_table_is_refused_in_a_second_and_64_mib";
    let output = Command::new(std::env::current_exe().expect("this test binary"))
        .args(["--exact", test, "--nocapture"])
        .env(FILE_TO_READ, path)
        .output()
        .expect("this test binary starts");
    let stdout = String::from_utf8_lossy(&output.stdout);
    let account = stdout
        .lines()
        .find_map(|line| line.strip_prefix("account "));
    match account {
        Some(account) => serde_json::from_str(account).expect("an account is JSON"),
        None => panic!("{}: {output:?}", path.display()),
    }
}

/// Reads a file and prints what it took: seconds of computing, bytes of memory at the most.
fn report(path: &Path) {
    let (seconds_before, bytes_before) = (seconds_computed(), memory("VmRSS:"));
    let refusal = match read(path) {
        Ok(sheets) => format!("none: {} sheets", sheets.len()),
        Err(failure) => failure,
    };
    let account = json!({
        "refusal": refusal,
        "seconds": seconds_computed() - seconds_before,
        "bytes": memory("VmHWM:").saturating_sub(bytes_before),
    });
    println!("\naccount {account}");
}

/// Seconds that this process has computed, by the kernel's account (proc(5): fields 14 and 15 of `stat`, in
/// hundredths).
fn seconds_computed() -> f64 {
    let stat = std::fs::read_to_string("/proc/self/stat").expect("Linux");
    let after_name = stat.rsplit(')').next().expect("a name in parentheses");
    let fields: Vec<f64> = after_name
        .split_whitespace()
        .filter_map(|field| field.parse().ok())
        .collect();
    // The first field after the name is a letter.
    (fields[10] + fields[11]) / 100.0
}

/// A figure of this process's memory, bytes.
fn memory(figure: &str) -> u64 {
    let status = std::fs::read_to_string("/proc/self/status").expect("Linux");
    let line = status.lines().find(|line| line.starts_with(figure));
    let kibibytes = line.and_then(|line| line.split_whitespace().nth(1)?.parse::<u64>().ok());
    kibibytes.expect("a figure in kB") * 1024
}
