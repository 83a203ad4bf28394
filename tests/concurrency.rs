//! Several loads and readers on one workspace at the same time.

use std::path::PathBuf;

use serde_json::{Value, json};

use crate::support::{TestWorkspace, assert_adds_up, counts, full_visit, lines};

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

/// Loads every file in a process of its own, all at once, while readers read; the accounts.
fn load_at_once(workspace: &TestWorkspace, files: &[PathBuf]) -> Vec<Value> {
    let loading = std::sync::atomic::AtomicUsize::new(files.len());
    let order = std::sync::atomic::Ordering::SeqCst;
    std::thread::scope(|scope| {
        let readers: Vec<_> = (0..2)
            .map(|reader| {
                let loading = &loading;
                scope.spawn(move || {
                    let mut reads = 0;
                    while loading.load(order) > 0 || reads == 0 {
                        let run = if reader == 0 {
                            workspace.run(&["store", "info", "--format", "json"])
                        } else {
                            let out = workspace.beside(&format!("figures-{reads}"));
                            workspace.run(&["rollup", "--out", &out.display().to_string()])
                        };
                        assert_eq!(run.code, Some(0), "a reader failed: {run:#?}");
                        reads += 1;
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
        for reader in readers {
            reader.join().expect("a reader");
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
    assert_eq!(once.len(), rows.len(), "a visit stands twice");
    assert_eq!(rows.len(), visits);
    assert_eq!(stored["units"], visits * 20);
    assert_eq!(stored["held"].as_array().unwrap().len(), held);
    assert_eq!(stored["receipts"].as_array().unwrap().len(), accounts.len());
    let accepted: u64 = accounts.iter().map(|account| counts(account)[1]).sum();
    assert_eq!(
        accepted, visits as u64,
        "what was accepted is what is there"
    );
}

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
        let accounts = load_at_once(&workspace, &files);
        for account in &accounts {
            assert_eq!(counts(account), [51, 50, 0, 1]);
        }
        assert_whole(&workspace, &accounts, loads * 50, loads);
    }
}

#[test]
fn of_the_same_submission_one_is_accepted_and_the_others_are_duplicates() {
    for loads in [2, 4] {
        let workspace = TestWorkspace::of_region("us:46");
        let file = workspace.write("same.ndjson", submission(0..200, "broken"));
        let accounts = load_at_once(&workspace, &vec![file; loads]);
        let mut came_to: Vec<[u64; 4]> = accounts.iter().map(counts).collect();
        came_to.sort_unstable();
        assert_eq!(came_to.pop(), Some([201, 200, 0, 1]));
        assert!(
            came_to.iter().all(|counts| *counts == [201, 0, 200, 1]),
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
        let accounts = load_at_once(&workspace, &files);
        let duplicate: u64 = accounts.iter().map(|account| counts(account)[2]).sum();
        assert_eq!(duplicate, (loads as u64 - 1) * 40);
        assert_whole(&workspace, &accounts, (loads + 1) * 40, loads);
    }
}
