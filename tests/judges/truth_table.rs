//! One truth table, handed in as many files by other people's programs, each bent by one to four of the 21 ways
//! in which sheets differ: every file gives the truth back, or is refused, whole or record by record, with a message
//! that names what bent it. A receipt for each, and no record that is not accounted for. Not here: single cells and
//! mappings (`mapping`), and what the readers make of a file (`tables`).

use std::collections::BTreeSet;
use std::path::Path;

use serde_json::{Value, json};

use crate::judge::python;
use crate::support::{TestWorkspace, bractline, folder_bytes};

/// Fewest files, and the kinds of distortion that all of them together must meet.
const FILES_MIN: usize = 40;

const DISTORTIONS: u64 = 21;

/// Runs of the program at a time.
const RUNS_AT_ONCE: usize = 2;

/// What became of a file.
struct Handed<'m> {
    entry: &'m Value,
    workspace: TestWorkspace,
    /// Exit code and what was written to stderr.
    code: Option<i32>,
    stderr: String,
    account: Option<Value>,
}

#[test]
fn every_file_gives_the_truth_back_or_says_what_bends_it() {
    let folder = tempfile::tempdir().expect("a temporary folder");
    let place = folder.path().display().to_string();
    python("tests/reference/truth/make.py", &[&place]);
    let manifest = std::fs::read(folder.path().join("manifest.json")).expect("the program's list");
    let manifest: Vec<Value> = serde_json::from_slice(&manifest).expect("the list is JSON");
    the_table_is_whole(&manifest);

    let handed = hand_in_all(folder.path(), &manifest);
    let places: Vec<String> = handed
        .iter()
        .map(|file| file.workspace.path().display().to_string())
        .collect();
    let places: Vec<&str> = places.iter().map(String::as_str).collect();
    let stores = python("tests/reference/stored_visits.py", &places);
    let stores: Vec<Value> = serde_json::from_str(&stores).expect("JSON from a program of ours");
    assert_eq!(stores.len(), handed.len());

    let mut wrong = Vec::new();
    let (mut received, mut counted) = (0, 0);
    for (file, store) in handed.iter().zip(&stores) {
        let faults = faults_of(file, store);
        if !faults.is_empty() {
            let of = &file.entry;
            let head = format!(
                "{} by {}, bent by {}:",
                of["file"], of["made_by"], of["distortions"]
            );
            wrong.push(format!("{head}\n    {}", faults.join("\n    ")));
        }
        if file.entry["refused"].is_null() {
            received += sum_of(store, "received");
            counted += number(&file.entry["counted"]);
        }
    }
    assert!(
        wrong.is_empty(),
        "{} of {} files:\n{}",
        wrong.len(),
        handed.len(),
        wrong.join("\n")
    );
    assert_eq!(received, counted, "records received, records in the files");
    println!("{} files, {received} records received", handed.len());
}

/// Enough files, every distortion, by several programs, and two counts that agree.
fn the_table_is_whole(manifest: &[Value]) {
    assert!(manifest.len() >= FILES_MIN, "{} files", manifest.len());
    let mut met = BTreeSet::new();
    let mut programs = BTreeSet::new();
    for entry in manifest {
        let distortions = entry["distortions"].as_array().expect("numbers");
        assert!((1..=4).contains(&distortions.len()), "{entry}");
        met.extend(distortions.iter().map(number));
        programs.insert(entry["made_by"].as_str().expect("a name"));
        // A file with a password is counted by nobody.
        if !entry["counted"].is_null() {
            assert_eq!(entry["records"], entry["counted"], "{}", entry["file"]);
        }
    }
    assert_eq!(met, (1..=DISTORTIONS).collect());
    assert!(programs.len() >= 4, "{programs:?}");
}

/// Loads each file with its mapping into a workspace of its own, in the order of the list.
fn hand_in_all<'m>(folder: &Path, manifest: &'m [Value]) -> Vec<Handed<'m>> {
    let made = TestWorkspace::empty();
    let place = made.path().display().to_string();
    let region = folder.join("region.geojson").display().to_string();
    let properties = [
        "--id-property",
        "county_id",
        "--name-property",
        "county_name",
    ];
    bractline(&[&["init", &place, "--region", &region], &properties[..]].concat()).expect_code(0);
    for (name, protocol) in folder_bytes(&folder.join("protocols")) {
        std::fs::write(made.path().join("protocols").join(name), protocol).expect("a protocol");
    }
    let share = manifest.len().div_ceil(RUNS_AT_ONCE);
    std::thread::scope(|scope| {
        let shares: Vec<_> = manifest
            .chunks(share)
            .map(|entries| {
                let made = &made;
                scope.spawn(move || {
                    let hand_in_one = |entry| hand_in(folder, entry, made.copied());
                    entries.iter().map(hand_in_one).collect::<Vec<_>>()
                })
            })
            .collect();
        let joined = shares
            .into_iter()
            .map(|share| share.join().expect("no fault of the test"));
        joined.flatten().collect()
    })
}

fn hand_in<'m>(folder: &Path, entry: &'m Value, workspace: TestWorkspace) -> Handed<'m> {
    let path = |name: &str| {
        let name = entry[name].as_str().expect("a path");
        folder.join(name).display().to_string()
    };
    let run = workspace.run(&[
        "load",
        &path("file"),
        "--mapping",
        &path("mapping"),
        "--format",
        "json",
    ]);
    Handed {
        entry,
        workspace,
        code: run.code,
        account: (!run.stdout.is_empty()).then(|| run.json()),
        stderr: run.stderr,
    }
}

/// What differs from what is to be expected of a file.
fn faults_of(file: &Handed<'_>, store: &Value) -> Vec<String> {
    if let Some(words) = file.entry["refused"].as_array() {
        return faults_of_refusal(file, words, store);
    }
    let held = file.entry["held"].as_array().expect("a list");
    let code = if held.is_empty() { 0 } else { 3 };
    if file.code != Some(code) {
        return vec![format!("exit {:?}: {}", file.code, file.stderr)];
    }
    let mut faults = faults_of_receipt(file, store);
    let visits = |of: &Value| of["visits"].as_array().expect("a list").clone();
    faults.extend(faults_of_visits(&visits(file.entry), &visits(store)));
    faults.extend(faults_of_held(held, &store["held"]));
    faults
}

fn faults_of_refusal(file: &Handed<'_>, words: &[Value], store: &Value) -> Vec<String> {
    let mut faults = missing_words(words, &file.stderr);
    if file.code != Some(1) || *store != json!({"receipts": [], "visits": [], "held": []}) {
        faults.push(format!("not refused whole: exit {:?}", file.code));
    }
    faults
}

/// One receipt, which says the same as the account and adds up to the records of the file.
fn faults_of_receipt(file: &Handed<'_>, store: &Value) -> Vec<String> {
    let entry = file.entry;
    let (visits, held) = (&entry["visits"], &entry["held"]);
    let length = |list: &Value| list.as_array().map_or(0, Vec::len);
    let expected = json!({
        "file_name": entry["file"], "received": entry["counted"], "accepted": length(visits), "duplicate": 0,
        "held": length(held),
    });
    let mut faults = Vec::new();
    if store["receipts"] != json!([expected]) {
        faults.push(format!(
            "receipts {}, expected {expected}",
            store["receipts"]
        ));
    }
    let account = file.account.as_ref().unwrap_or(&Value::Null);
    for name in ["received", "accepted", "duplicate", "held"] {
        if account[name] != expected[name] {
            faults.push(format!("the account says {} {name}", account[name]));
        }
    }
    faults
}

/// Member by member; numbers by their value.
fn faults_of_visits(truth: &[Value], stored: &[Value]) -> Vec<String> {
    let mut truth: Vec<Value> = truth.to_vec();
    truth.sort_by(|one, other| one["visit_id"].as_str().cmp(&other["visit_id"].as_str()));
    let mut faults = Vec::new();
    for visit in &mut truth {
        let members = visit.as_object_mut().expect("a record");
        members.remove("schema_version");
        match stored
            .iter()
            .find(|other| other["visit_id"] == visit["visit_id"])
        {
            None => faults.push(format!("{} did not come back", visit["visit_id"])),
            Some(other) => {
                let differences = differences("", visit, other);
                faults.extend(
                    differences
                        .iter()
                        .map(|difference| format!("{}{difference}", visit["visit_id"])),
                );
            }
        }
    }
    if truth.len() != stored.len() {
        faults.push(format!("{} visits, stored {}", truth.len(), stored.len()));
    }
    faults
}

fn differences(pointer: &str, truth: &Value, stored: &Value) -> Vec<String> {
    let names = |of: &Value| -> Vec<String> {
        match of {
            Value::Object(members) => members.keys().cloned().collect(),
            Value::Array(items) => (0..items.len()).map(|place| place.to_string()).collect(),
            _ => Vec::new(),
        }
    };
    let member = |of: &Value, name: &str| of.pointer(&format!("/{name}")).cloned();
    let all: BTreeSet<String> = names(truth).into_iter().chain(names(stored)).collect();
    if !all.is_empty() {
        let of_member = |name: String| {
            let at = format!("{pointer}/{name}");
            match (member(truth, &name), member(stored, &name)) {
                (Some(truth), Some(stored)) => differences(&at, &truth, &stored),
                (truth, stored) => vec![format!("{at}: truth {truth:?}, stored {stored:?}")],
            }
        };
        return all.into_iter().flat_map(of_member).collect();
    }
    let same = match (truth.as_f64(), stored.as_f64()) {
        (Some(truth), Some(stored)) => truth == stored,
        _ => truth == stored,
    };
    if same {
        Vec::new()
    } else {
        vec![format!("{pointer}: truth {truth}, stored {stored}")]
    }
}

/// Each held record says what bends it, in the order of the rows.
fn faults_of_held(expected: &[Value], held: &Value) -> Vec<String> {
    let held = held.as_array().expect("a list");
    let mut faults = Vec::new();
    for (words, findings) in expected.iter().zip(held) {
        let words = words.as_array().expect("words");
        let said: Vec<String> = findings
            .as_array()
            .expect("findings")
            .iter()
            .map(|finding| {
                let text = |name: &str| finding[name].as_str().unwrap_or_default();
                format!("{}: {}; {}", text("code"), text("found"), text("expected"))
            })
            .collect();
        faults.extend(missing_words(words, &said.join("\n")));
    }
    if expected.len() != held.len() {
        faults.push(format!("{} held, expected {}", held.len(), expected.len()));
    }
    faults
}

fn missing_words(words: &[Value], message: &str) -> Vec<String> {
    let words = words.iter().map(|word| word.as_str().expect("a word"));
    let missing = words.filter(|word| !message.contains(word));
    missing
        .map(|word| format!("{word:?} is not in {message:?}"))
        .collect()
}

fn number(value: &Value) -> u64 {
    value.as_u64().expect("a whole number")
}

fn sum_of(store: &Value, name: &str) -> u64 {
    let receipts = store["receipts"].as_array().expect("receipts");
    receipts.iter().map(|receipt| number(&receipt[name])).sum()
}
