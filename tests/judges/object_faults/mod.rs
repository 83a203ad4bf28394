//! An object store that fails, at its n-th read or write, before or after the work is done; and one that is slow.
//!
//! It stands where the keeper of a bucket does, before files on the disk. Whatever it does, the store is as before or
//! wholly after, a clear word says so, and the same deed again ends where an undisturbed one does. The everyday run takes
//! some of the calls; `BRACTLINE_OBJECT_FAULTS=all` takes every one, `=Compact` those of that deed.

mod deeds;
mod faulty_store;

use std::path::PathBuf;
use std::sync::Arc;
use std::sync::atomic::{AtomicUsize, Ordering};

use deeds::{DEEDS, Deed, Figures, open};
use faulty_store::{Call, Fault, Faulty, How, WORD};
use object_store::local::LocalFileSystem;
use rand::SeedableRng;
use rand::seq::SliceRandom;
use rand_chacha::ChaCha8Rng;
use scouting::failure::Failure;
use store::alerts::table::issued_alerts;
use store::delta::tables::Store;
use store::delta::verification::verify;
use url::Url;

use crate::care::break_off;
use crate::support::TestWorkspace;
use crate::support::care::{submission, with_an_alert};
use crate::support::in_process::{counted_rows, runtime};

/// What must not be half: the rows that count, and the alerts.
#[derive(Debug, PartialEq, Eq)]
struct State {
    rows: Vec<String>,
    alerts: Vec<i64>,
}

async fn state(workspace: &TestWorkspace) -> State {
    let store = open(workspace).await.expect("the store opens");
    let verified = verify(&store).await.expect("it can be looked at");
    assert_eq!(verified.problems, Vec::<String>::new());
    let issued = issued_alerts(&store).await.expect("alerts");
    State {
        rows: counted_rows(&store).await,
        alerts: issued.iter().map(|alert| alert.number).collect(),
    }
}

/// A workspace in which each deed has something to do.
fn prepared() -> TestWorkspace {
    let workspace = with_an_alert();
    workspace.run(&["store", "compact"]).expect_code(0);
    for part in [0, 1] {
        let text = submission(200 + part * 5..205 + part * 5);
        workspace.load_text(&format!("later-{part}"), &text);
    }
    break_off(&workspace, "broken-off", &submission(400..402));
    workspace
}

fn copied(prepared: &TestWorkspace) -> TestWorkspace {
    let workspace = prepared.copied();
    workspace.write("next", submission(300..306));
    workspace
}

/// Does a deed on a copy with a fault; the copy, what it came to, and how many reads and writes there were.
async fn disturbed(
    prepared: &TestWorkspace,
    deed: Deed,
    fault: Fault,
) -> (
    TestWorkspace,
    std::result::Result<Option<Figures>, Failure>,
    [usize; 2],
) {
    let workspace = copied(prepared);
    let (reads, writes) = (Arc::<AtomicUsize>::default(), Arc::<AtomicUsize>::default());
    let address =
        Url::from_directory_path(workspace.path().join("store")).expect("an absolute path");
    let faulty = Faulty {
        files: Arc::new(LocalFileSystem::new()),
        fault,
        reads: reads.clone(),
        writes: writes.clone(),
    };
    let store = Store::in_bucket(&address, Arc::new(faulty));
    let result = deed.run(&store, &workspace).await;
    let counted = [reads, writes].map(|seen| seen.load(Ordering::SeqCst));
    (workspace, result, counted)
}

/// Late answers of a deed that are tried where every call is: none of them can do more than take its time.
const LATE: usize = 20;

/// Which of so many calls are tried.
fn chosen(calls: usize, at_most: usize) -> Vec<usize> {
    let mut numbers: Vec<usize> = (1..=calls).collect();
    if at_most < calls {
        numbers.shuffle(&mut ChaCha8Rng::seed_from_u64(calls as u64));
        numbers.truncate(at_most);
    }
    numbers
}

/// What `BRACTLINE_OBJECT_FAULTS` asks for: every call of all deeds or of one, or a few of each.
fn wanted() -> (Vec<Deed>, bool) {
    let asked = std::env::var("BRACTLINE_OBJECT_FAULTS").ok();
    let of_one = DEEDS
        .iter()
        .filter(|deed| asked == Some(format!("{deed:?}")));
    let of_one: Vec<Deed> = of_one.copied().collect();
    match asked {
        Some(_) if !of_one.is_empty() => (of_one, true),
        Some(all) => {
            assert_eq!(
                all, "all",
                "BRACTLINE_OBJECT_FAULTS: all, or one of {DEEDS:?}"
            );
            (DEEDS.to_vec(), true)
        }
        None => (DEEDS.to_vec(), false),
    }
}

async fn try_all(prepared: &TestWorkspace, deed: Deed, every_call: bool) -> usize {
    let none = Fault {
        call: Call::Read,
        number: 0,
        how: How::Never,
    };
    let before = state(&copied(prepared)).await;
    let (undisturbed, result, [reads, writes]) = disturbed(prepared, deed, none).await;
    let expected = result.expect("nothing is in its way");
    let after = state(&undisturbed).await;
    assert_eq!(before != after, matches!(deed, Deed::Load | Deed::Issue));
    assert!(reads > 0, "{deed:?} reads nothing through the store");
    let (some, late_reads, late_writes) = match every_call {
        true => (usize::MAX, LATE, LATE),
        // What waits costs its time: every day only the roll-up.
        false => (1, usize::from(deed == Deed::RollUp), 0),
    };
    let mut tries = Vec::new();
    for (call, how, numbers) in [
        (Call::Read, How::Before, chosen(reads, some)),
        (Call::Write, How::Before, chosen(writes, some)),
        (Call::Write, How::After, chosen(writes, some)),
        (Call::Read, How::Late, chosen(reads, late_reads)),
        (Call::Write, How::Late, chosen(writes, late_writes)),
    ] {
        tries.extend(
            numbers
                .into_iter()
                .map(|number| Fault { call, number, how }),
        );
    }
    let mut told = 0;
    for (number, fault) in tries.iter().enumerate() {
        if number % 50 == 0 {
            println!("{deed:?}: {number} of {} tries", tries.len());
        }
        let (workspace, result, _) = disturbed(prepared, deed, *fault).await;
        let now = state(&workspace).await;
        assert!(
            now == before || now == after,
            "{deed:?} {fault:?}: half a state"
        );
        match &result {
            Ok(figures) => {
                assert!(now == after, "{deed:?} {fault:?}: said to be done");
                assert!(*figures == expected, "{deed:?} {fault:?}: other figures");
            }
            Err(failure) => {
                told += 1;
                let words = failure.to_string();
                assert!(words.contains(WORD), "{deed:?} {fault:?}: {words}");
                assert_ne!(fault.how, How::Late, "{deed:?} {fault:?}: {words}");
            }
        }
        // Once more, with nothing in its way.
        let store = open(&workspace).await.expect("the store opens");
        let again = deed.run(&store, &workspace).await;
        let again = again.unwrap_or_else(|failure| panic!("{deed:?} {fault:?}: {failure}"));
        assert!(again == expected, "{deed:?} {fault:?}: other figures");
        assert!(
            state(&workspace).await == after,
            "{deed:?} {fault:?}: another end"
        );
    }
    println!(
        "{deed:?}: {reads} reads, {writes} writes, {} tries, {told} told",
        tries.len()
    );
    told
}

#[test]
fn a_store_that_fails_at_any_call_leaves_all_or_nothing() {
    let prepared = prepared();
    let (deeds, every_call) = wanted();
    std::thread::scope(|scope| {
        let of_all: Vec<_> = deeds
            .into_iter()
            .map(|deed| {
                let prepared = &prepared;
                let tried = move || runtime().block_on(try_all(prepared, deed, every_call));
                (deed, scope.spawn(tried))
            })
            .collect();
        for (deed, thread) in of_all {
            let told = thread
                .join()
                .unwrap_or_else(|_| panic!("{deed:?} is half done"));
            assert!(told > 0, "no fault was ever told of {deed:?}");
        }
    });
}

/// The check itself: a store that says that it wrote what it did not is found out.
#[test]
fn the_check_finds_a_write_that_was_never_done() {
    let prepared = prepared();
    let workspace = copied(&prepared);
    let found = runtime().block_on(async {
        let before = state(&workspace).await;
        let store = open(&workspace).await.expect("the store opens");
        Deed::Load.run(&store, &workspace).await.expect("it loads");
        assert!(state(&workspace).await != before);
        let rows = newest_rows(&workspace);
        std::fs::remove_file(rows).expect("the rows that were just written");
        let store = open(&workspace).await.expect("the store opens");
        verify(&store).await.expect("it can be looked at").problems
    });
    assert_eq!(found.len(), 1, "{found:?}");
    assert!(found[0].contains("next"), "{found:?}");
}

fn newest_rows(workspace: &TestWorkspace) -> PathBuf {
    let files = crate::support::contents(&workspace.path().join("store/visits/season=2026"));
    let modified = |path: &PathBuf| path.metadata().and_then(|file| file.modified()).ok();
    let newest = files.into_keys().max_by_key(modified);
    newest.expect("a file of visits")
}
