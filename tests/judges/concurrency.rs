//! Several loads and readers on one workspace at the same time.

use std::path::PathBuf;

use serde_json::{Value, json};

use crate::support::{Counts, TestWorkspace, assert_adds_up, counts, full_visit, lines, received};

/// Lines of visits by number, each in a field of its own, and a broken record that bears the name.
fn submission(numbers: impl IntoIterator<Item = usize>, name: &str) -> String {
    let visits: Vec<Value> = numbers
        .into_iter()
        .map(|number| {
            let mut visit = full_visit(&format!("v-{number}"));
            visit["field"]["field_id"] = json!(format!("F-{number}"));
            visit
        })
        .collect();
    lines(&visits) + &format!("{{\"{name}\n")
}

/// What runs beside the loads until they are through: readers, and the care of the store.
#[derive(Debug, Clone, Copy)]
enum Beside {
    Info,
    RollUp,
    Sql,
    Care,
}

impl Beside {
    fn run(self, workspace: &TestWorkspace, number: usize) {
        let run = |arguments: &[&str]| {
            let run = workspace.run(arguments);
            assert_eq!(run.code, Some(0), "{self:?} beside loads: {run:#?}");
            run
        };
        match self {
            Beside::Info => drop(run(&["store", "info", "--format", "json"])),
            Beside::RollUp => {
                let out = workspace.beside(&format!("figures-{number}"));
                run(&["rollup", "--out", &out.display().to_string()]);
            }
            Beside::Sql => {
                // A reader sees one state: of every visit that counts all twenty units count.
                let query = "select (select count(*) from visits) * 20 - (select count(*) from units) as missing";
                let rows = run(&["sql", "--format", "json", query]).json();
                assert_eq!(rows[0]["missing"], 0, "{rows}");
            }
            Beside::Care => {
                run(&["store", "compact"]);
                run(&["store", "vacuum", "--older-than", "1"]);
            }
        }
    }
}

/// Loads every file in a process of its own, all at once, while readers read; the accounts.
fn load_at_once(workspace: &TestWorkspace, files: &[PathBuf], beside: &[Beside]) -> Vec<Value> {
    let loading = std::sync::atomic::AtomicUsize::new(files.len());
    let order = std::sync::atomic::Ordering::SeqCst;
    std::thread::scope(|scope| {
        let others: Vec<_> = beside
            .iter()
            .map(|beside| {
                let loading = &loading;
                scope.spawn(move || {
                    let mut times = 0;
                    while loading.load(order) > 0 || times == 0 {
                        beside.run(workspace, times);
                        times += 1;
                    }
                })
            })
            .collect();
        let loads: Vec<_> = files
            .iter()
            .map(|file| {
                let loading = &loading;
                scope.spawn(move || {
                    let run =
                        workspace.run(&["load", "--format", "json", &file.display().to_string()]);
                    loading.fetch_sub(1, order);
                    assert_eq!(run.code, Some(3), "{run:#?}");
                    let account = run.json();
                    assert_adds_up(&account);
                    account
                })
            })
            .collect();
        let accounts = loads
            .into_iter()
            .map(|load| load.join().expect("a load"))
            .collect();
        for other in others {
            other.join().expect("what runs beside the loads");
        }
        accounts
    })
}

/// Looks at the store after everything: no visit twice, all receipts true.
fn assert_whole(workspace: &TestWorkspace, accounts: &[Value], visits: usize, held: usize) {
    workspace.run(&["store", "verify"]).expect_code(0);
    let stored = workspace.store_rows();
    let rows = stored["visits"].as_array().unwrap();
    let mut once = rows.clone();
    once.dedup();
    assert_eq!(once.len(), rows.len(), "a visit appears twice");
    assert_eq!(rows.len(), visits);
    assert_eq!(stored["units"], visits * 20);
    assert_eq!(stored["held"].as_array().unwrap().len(), held);
    assert_eq!(stored["receipts"].as_array().unwrap().len(), accounts.len());
    let accepted: u64 = accounts
        .iter()
        .map(|account| counts(account).accepted)
        .sum();
    assert_eq!(
        accepted, visits as u64,
        "what was accepted is what is there"
    );
}

const READERS: [Beside; 2] = [Beside::Info, Beside::RollUp];

#[test]
fn different_submissions_are_all_accepted() {
    for loads in [2, 4] {
        let workspace = TestWorkspace::of_region("us:46");
        let files: Vec<PathBuf> = (0..loads)
            .map(|load| {
                let text = submission(load * 50..(load + 1) * 50, &format!("broken-{load}"));
                workspace.write(&format!("{load}.ndjson"), text)
            })
            .collect();
        let accounts = load_at_once(&workspace, &files, &READERS);
        for account in &accounts {
            assert_eq!(counts(account), received(51).accepted(50).held(1));
        }
        assert_whole(&workspace, &accounts, loads * 50, loads);
    }
}

#[test]
fn of_the_same_submission_one_is_accepted_and_the_others_are_duplicates() {
    for loads in [2, 4] {
        let workspace = TestWorkspace::of_region("us:46");
        let file = workspace.write("same.ndjson", submission(0..200, "broken"));
        let accounts = load_at_once(&workspace, &vec![file; loads], &READERS);
        let mut came_to: Vec<Counts> = accounts.iter().map(counts).collect();
        came_to.sort_unstable_by_key(|counts| counts.accepted);
        assert_eq!(came_to.pop(), Some(received(201).accepted(200).held(1)));
        assert!(
            came_to
                .iter()
                .all(|counts| *counts == received(201).duplicate(200).held(1)),
            "{came_to:?}"
        );
        let held_before: u64 = accounts
            .iter()
            .map(|account| account["held_before"].as_u64().unwrap())
            .sum();
        assert_eq!(held_before, loads as u64 - 1);
        assert_whole(&workspace, &accounts, 200, 1);
    }
}

#[test]
fn overlapping_submissions_bring_each_visit_once() {
    for loads in [2, 4] {
        let workspace = TestWorkspace::of_region("us:46");
        let files: Vec<PathBuf> = (0..loads)
            .map(|load| {
                let text = submission(load * 40..load * 40 + 80, &format!("broken-{load}"));
                workspace.write(&format!("{load}.ndjson"), text)
            })
            .collect();
        let accounts = load_at_once(&workspace, &files, &READERS);
        let duplicate: u64 = accounts
            .iter()
            .map(|account| counts(account).duplicate)
            .sum();
        assert_eq!(duplicate, (loads as u64 - 1) * 40);
        assert_whole(&workspace, &accounts, (loads + 1) * 40, loads);
    }
}

#[test]
fn eight_loads_readers_and_care_at_once_lose_nothing_and_bring_nothing_twice() {
    let workspace = TestWorkspace::of_region("us:46");
    // Something to put together while the loads run.
    for part in 0..4 {
        workspace.load_text(
            &format!("before-{part}"),
            &submission(1_000 + part * 5..1_005 + part * 5, "b"),
        );
    }
    let files: Vec<PathBuf> = (0..8)
        .map(|load| {
            let text = submission(load * 20..load * 20 + 40, &format!("broken-{load}"));
            workspace.write(&format!("{load}.ndjson"), text)
        })
        .collect();
    let beside = [Beside::Sql, Beside::RollUp, Beside::Care];
    let accounts = load_at_once(&workspace, &files, &beside);
    let duplicate: u64 = accounts
        .iter()
        .map(|account| counts(account).duplicate)
        .sum();
    assert_eq!(duplicate, 7 * 20);
    workspace.run(&["store", "verify"]).expect_code(0);
    let stored = workspace.store_rows();
    let rows = stored["visits"].as_array().unwrap();
    let once: std::collections::BTreeSet<String> = rows.iter().map(Value::to_string).collect();
    assert_eq!((rows.len(), once.len()), (9 * 20 + 20, 9 * 20 + 20));
    assert_eq!(stored["units"], (9 * 20 + 20) * 20);
    // The eight, and the one that the four before share.
    assert_eq!(stored["held"].as_array().unwrap().len(), 9);
    assert_eq!(stored["receipts"].as_array().unwrap().len(), 12);
}
