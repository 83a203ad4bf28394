//! Whether the files of the tables are what the logs say: each entry of each log, each file by its bytes.

use std::collections::{BTreeSet, HashMap};

use futures::StreamExt;
use serde::Deserialize;

use crate::delta::data_file::{fault, rows};
use crate::delta::snapshot::version_of;
use crate::delta::table_log::TableLog;
use crate::delta::tables::Store;
use crate::rows::decode;
use crate::rows::schema::Kept;

/// What the look at every file came to.
#[derive(Debug, Default)]
pub(crate) struct FilesLookedAt {
    /// The version of the receipts, as the entries of their log have it.
    pub(crate) version: i64,
    /// Files that were looked at.
    pub(crate) files: usize,
    /// What is wrong, in words; each names its file.
    pub(crate) problems: Vec<String>,
}

/// Looks at every entry of every log and at every file that they name.
pub(crate) async fn look_at_files(store: &Store) -> FilesLookedAt {
    let mut looked = FilesLookedAt::default();
    let names = submission_names(store).await;
    for kept in Kept::ALL {
        // Stores of earlier versions have no table of alerts, and make it with the first issue.
        if kept == Kept::Alerts && !store.has(kept).await {
            continue;
        }
        let table = kept.name();
        let log = TableLog::read(store, kept, None).await;
        if kept == Kept::Receipts {
            looked.version = log.newest;
        }
        let entries_whole = log.problems.is_empty();
        let named = log.problems.iter();
        looked
            .problems
            .extend(named.map(|problem| format!("{table}: {problem}")));
        for file in &log.live {
            looked.files += 1;
            let Some(reason) = fault(store, kept, file).await else {
                continue;
            };
            let load = file.only_load().map_or_else(String::new, |load| {
                let submission = names.get(&load);
                let of = submission.map_or_else(String::new, |name| format!(" of {name}"));
                format!("; it holds rows of the load {load}{of}")
            });
            let problem = format!("{table}: {}: {reason}{load}", file.path());
            looked.problems.push(problem);
        }
        if entries_whole {
            let other = other_for_the_library(store, kept, &log).await;
            looked
                .problems
                .extend(other.map(|problem| format!("{table}: {problem}")));
        }
    }
    looked
}

/// Where the library, which reads checkpoints, sees another table than the entries of the log.
async fn other_for_the_library(store: &Store, kept: Kept, log: &TableLog) -> Option<String> {
    let table = match store.table(kept).await {
        Ok(table) => table,
        Err(failure) => return Some(format!("it cannot be opened: {failure}")),
    };
    // A load that runs at the same time may have committed between the two.
    let log = match version_of(&table) == log.newest {
        true => files_of(log),
        false => files_of(&TableLog::read(store, kept, Some(version_of(&table))).await),
    };
    let library: BTreeSet<(String, u64, Option<i64>)> = table
        .snapshot()
        .ok()?
        .log_data()
        .iter()
        .map(|file| {
            let rows = file.num_records().and_then(|rows| i64::try_from(rows).ok());
            (file.path().into_owned(), file.size().unsigned_abs(), rows)
        })
        .collect();
    let other = library.symmetric_difference(&log).next()?;
    Some(format!(
        "the newest checkpoint does not say what the log says, first of {}",
        other.0
    ))
}

fn files_of(log: &TableLog) -> BTreeSet<(String, u64, Option<i64>)> {
    let files = log.live.iter();
    files
        .map(|file| (file.path().to_owned(), file.bytes(), file.rows()))
        .collect()
}

/// The names of the submissions by their loads, as far as the receipts can be read.
async fn submission_names(store: &Store) -> HashMap<String, String> {
    let log = TableLog::read(store, Kept::Receipts, None).await;
    let mut names = HashMap::new();
    for file in &log.live {
        if fault(store, Kept::Receipts, file).await.is_some() {
            continue;
        }
        let Ok(mut batches) = rows(store, Kept::Receipts, file).await else {
            continue;
        };
        while let Some(Ok(batch)) = batches.next().await {
            let rows: Vec<Submitted> = decode::rows_among(&batch).unwrap_or_default();
            names.extend(rows.into_iter().map(|row| (row.load_id, row.file_name)));
        }
    }
    names
}

/// A load and the file that it came from.
#[derive(Deserialize)]
struct Submitted {
    load_id: String,
    file_name: String,
}
