//! The current table depends on what came in, not on how: any order, any split into files, any number of times.
//!
//! Where two records contradict each other the first is kept, so there the order is the meaning; that is in `identity.rs`.

use std::collections::{BTreeMap, BTreeSet};

use proptest::prelude::*;
use proptest::test_runner::{Config, TestRunner};
use serde_json::{Value, json};
use store::delta::tables::Store;

use crate::support::in_process::{counted_rows, load, loader, rolled_up, runtime};
use crate::support::{full_visit, lines};

const VISITS: usize = 8;

const REVISIONS: usize = 3;

/// The one record of a visit and revision.
fn record(visit: usize, revision: usize) -> Value {
    let mut record = full_visit(&format!("v-{visit}"));
    record["revision"] = json!(revision);
    record["field"]["field_id"] = json!(format!("F-{}", visit / 2));
    record["field"]["farm_id"] = json!(format!("farm-{}", visit / 2));
    // Two visits of a field, some in the next week, some with another finding than before.
    record["observed_on"] = json!(format!("2026-07-{}", 20 + (visit % 2) * 7 + visit % 3));
    record["submitted_at"] = json!(format!("2026-07-30T0{revision}:00:00Z"));
    record["sites"][0]["heads"][0][0] = json!(visit * 7 + revision * 3);
    if revision == 1 + visit % 4 {
        record["retracted"] = json!(true);
    }
    record
}

/// Loads files of records, each in a run of its own or all in one; the rows that count, and the figures.
fn kept(
    files: &[Vec<(usize, usize)>],
    in_one_run: bool,
) -> (Vec<String>, BTreeMap<&'static str, Vec<u8>>) {
    let folder = tempfile::tempdir().expect("a temporary folder");
    runtime().block_on(async {
        let store = Store::in_folder(&folder.path().join("store")).expect("a path");
        store.create().await.expect("a store");
        let mut running = loader(store.clone()).await.expect("a loader");
        for (number, file) in files.iter().enumerate() {
            let records: Vec<Value> = file
                .iter()
                .map(|(visit, revision)| record(*visit, *revision))
                .collect();
            let path = folder.path().join(format!("{number}.ndjson"));
            std::fs::write(&path, lines(&records)).expect("a submission");
            if !in_one_run {
                running = loader(store.clone()).await.expect("a loader");
            }
            let account = load(&mut running, &path).await.expect("it loads");
            assert_eq!(account.counts.held, 0, "{:?}", account.held.first());
            assert_eq!(account.counts.received, records.len() as u64);
        }
        let figures = rolled_up(&store).await.expect("figures");
        (counted_rows(&store).await, figures)
    })
}

#[test]
fn any_order_split_and_multiplicity_gives_the_same_table_and_the_same_figures() {
    let sent = prop::collection::vec((0..VISITS, 1..=REVISIONS), 1..40);
    let cuts = prop::collection::vec(any::<prop::sample::Index>(), 0..4);
    let config = Config {
        cases: std::env::var("PROPTEST_CASES").map_or(6, |cases| cases.parse().expect("a number")),
        max_shrink_iters: 30,
        failure_persistence: None,
        ..Config::default()
    };
    let result =
        TestRunner::new(config).run(&(sent, cuts, any::<bool>()), |(sent, cuts, in_one_run)| {
            let mut ends: Vec<usize> = cuts.iter().map(|cut| cut.index(sent.len())).collect();
            ends.extend([0, sent.len()]);
            ends.sort_unstable();
            let files: Vec<_> = ends
                .windows(2)
                .map(|pair| sent[pair[0]..pair[1]].to_vec())
                .collect();
            let (rows, figures) = kept(&files, in_one_run);
            // Each once, in the order of their names, in one file: and what the model says of it.
            let once: BTreeSet<(usize, usize)> = sent.iter().copied().collect();
            let (expected_rows, expected_figures) = kept(&[once.iter().copied().collect()], true);
            prop_assert_eq!(&rows, &expected_rows);
            let model: Vec<String> = once
                .iter()
                .map(|(visit, revision)| format!("v-{visit} {revision}"))
                .collect();
            let visits = rows.iter().filter(|row| row.starts_with("v-"));
            prop_assert_eq!(visits.cloned().collect::<Vec<_>>(), model);
            for ((name, one), (_, other)) in figures.iter().zip(&expected_figures) {
                prop_assert!(one == other, "{} differs", name);
            }
            Ok(())
        });
    if let Err(failure) = result {
        panic!("{failure}");
    }
}
