//! Many small files of a table made few: the same rows, in the order of their arrival.
//!
//! Each load leaves a file a season, so a season of hundreds of submissions is hundreds of files to open.
//! Only files are put together whose every row counts, so that rows of a load that was broken off, or is
//! still running, keep a file of their own, which `store vacuum` can take out. The old files stay on the
//! disk for their readers; `store vacuum` removes them later, all but those of the receipts, whose old
//! versions issued alerts name.
//!
//! The version of the store stays what it is: receipts that were put together are the same receipts
//! (`snapshot.rs`). Alerts are few and are not touched.

use std::collections::{BTreeMap, HashSet};

use deltalake::DeltaTable;
use deltalake::kernel::transaction::{CommitBuilder, CommitProperties};
use deltalake::kernel::{Action, Add};
use deltalake::protocol::DeltaOperation;
use futures::StreamExt;
use jiff::Timestamp;
use serde::Serialize;

use crate::delta::data_file::{fault, loads, rows};
use crate::delta::snapshot::{receipted_loads, version_of};
use crate::delta::table_append::TableAppend;
use crate::delta::table_log::{LiveFile, TableLog};
use crate::delta::tables::{Store, refused};
use crate::rows::closings::counts_by_itself;
use crate::rows::schema::Kept;
use scouting::failure::{Cause, Failure, Kind};

/// A file of this size is left as it is.
const LARGE_ENOUGH_BYTES: u64 = 64 << 20;
/// Files are put together until they are about this large.
const TOGETHER_BYTES: u64 = 128 << 20;

/// The tables whose files are put together.
const COMPACTED: [Kept; 5] = [
    Kept::Visits,
    Kept::Units,
    Kept::Held,
    Kept::HeldClosed,
    Kept::Receipts,
];

/// Files that were put together, or would be.
#[derive(Debug, Clone, Serialize)]
pub struct Together {
    /// The table.
    pub table: &'static str,
    /// Their season, where the table has a folder for each.
    pub season: Option<i32>,
    /// Files before.
    pub files_before: usize,
    /// Files after.
    pub files_after: usize,
    /// Rows in them, which are the same before and after.
    pub rows: i64,
    /// Bytes before.
    pub bytes_before: u64,
    /// Bytes after; `None` where nothing was written.
    pub bytes_after: Option<u64>,
}

/// Puts small files together, season by season, each in one commit. With `dry_run` it only says which.
///
/// # Errors
/// A [`Failure`] if a file is not what the log says (then it is named, and nothing is made of it), or if
/// another care of the tables was quicker; what was put together before stays so.
pub async fn compact(
    store: &Store,
    now: Timestamp,
    dry_run: bool,
) -> Result<Vec<Together>, Failure> {
    let mut all = Vec::new();
    for kept in COMPACTED {
        let table = store.table(kept).await?;
        // Read after the table, so that every load that is complete in it is known to be.
        let receipted = receipted_loads(store).await?;
        for group in groups(store, kept, &table, &receipted).await? {
            let mut together = Together {
                table: kept.name(),
                season: group[0].season(),
                files_before: group.len(),
                files_after: 1,
                rows: group.iter().filter_map(LiveFile::rows).sum(),
                bytes_before: group.iter().map(LiveFile::bytes).sum(),
                bytes_after: None,
            };
            if !dry_run {
                let adds = put_together(store, kept, &group, now).await?;
                together.files_after = adds.len();
                together.bytes_after = Some(adds.iter().map(|add| add.size.unsigned_abs()).sum());
            }
            all.push(together);
        }
    }
    Ok(all)
}

/// The files of a table that belong together, each group in the order of arrival.
async fn groups(
    store: &Store,
    kept: Kept,
    table: &DeltaTable,
    receipted: &HashSet<String>,
) -> Result<Vec<Vec<LiveFile>>, Failure> {
    let log = TableLog::read(store, kept, Some(version_of(table))).await;
    if let Some(problem) = log.problems.first() {
        return Err(damaged(kept, problem));
    }
    let mut seasons: BTreeMap<Option<i32>, Vec<(String, LiveFile)>> = BTreeMap::new();
    let small = |file: &LiveFile| file.bytes() < LARGE_ENOUGH_BYTES;
    for file in log.live.into_iter().filter(small) {
        if all_rows_count(store, kept, &file, receipted).await? {
            // Ids of loads begin with the time, and so do those of drops.
            let first = file.least("load_id").map(|least| least.to_string());
            let season = seasons.entry(file.season()).or_default();
            season.push((first.unwrap_or_default(), file));
        }
    }
    let mut groups = Vec::new();
    for mut files in seasons.into_values() {
        files.sort_by(|(one, _), (other, _)| one.cmp(other));
        let mut group: Vec<LiveFile> = Vec::new();
        let mut bytes = 0;
        for (_, file) in files {
            if bytes + file.bytes() > TOGETHER_BYTES {
                groups.push(std::mem::take(&mut group));
                bytes = 0;
            }
            bytes += file.bytes();
            group.push(file);
        }
        groups.push(group);
    }
    groups.retain(|group| group.len() > 1);
    Ok(groups)
}

/// Whether every row of a file counts.
async fn all_rows_count(
    store: &Store,
    kept: Kept,
    file: &LiveFile,
    receipted: &HashSet<String>,
) -> Result<bool, Failure> {
    // What the log knows need not be read; what it says is held to the file before that is used.
    if let Some(load) = file.only_load() {
        let of_the_desk = file.only("how").is_some_and(|how| counts_by_itself(&how));
        return Ok(of_the_desk || receipted.contains(&load));
    }
    let found = loads(store, kept, file)
        .await
        .map_err(|cause| broken(kept, file, cause))?;
    Ok(found.iter().all(|load| receipted.contains(load)))
}

async fn put_together(
    store: &Store,
    kept: Kept,
    group: &[LiveFile],
    now: Timestamp,
) -> Result<Vec<Add>, Failure> {
    let mut together = TableAppend::begin(store, kept).await?;
    let mut read = 0;
    for file in group {
        // What is damaged must not get a new hash that calls it whole.
        let broken = |cause| broken(kept, file, cause);
        if let Some(cause) = fault(store, kept, file).await {
            return Err(broken(cause));
        }
        let mut batches = rows(store, kept, file).await.map_err(broken)?;
        while let Some(batch) = batches.next().await {
            let batch = batch.map_err(broken)?;
            read += batch.num_rows() as i64;
            together.write(batch).await?;
        }
    }
    let (table, mut adds) = together.close().await?;
    let said: i64 = group.iter().filter_map(LiveFile::rows).sum();
    assert_eq!(read, said, "every row of the old files is in the new ones");
    for add in &mut adds {
        add.data_change = false;
    }
    let removals = group
        .iter()
        .map(|file| Action::Remove(file.removal(now, false)));
    let actions = removals
        .chain(adds.iter().cloned().map(Action::Add))
        .collect();
    let operation = DeltaOperation::Optimize {
        predicate: None,
        target_size: TOGETHER_BYTES as i64,
    };
    commit_care(kept, &table, actions, operation).await?;
    Ok(adds)
}

/// Commits a change that care of the tables made; appends that came between do not hinder it.
pub(crate) async fn commit_care(
    kept: Kept,
    table: &DeltaTable,
    actions: Vec<Action>,
    operation: DeltaOperation,
) -> Result<(), Failure> {
    let state = table
        .snapshot()
        .map_err(|error| refused("open", kept, error))?;
    CommitBuilder::from(CommitProperties::default())
        .with_actions(actions)
        .build(Some(state), table.log_store(), operation)
        .await
        .map_err(|error| match error {
            deltalake::DeltaTableError::Transaction { .. } => Failure::because(
                Kind::Busy,
                format!("cannot maintain the table {}", kept.name()),
                error,
            )
            .mend("another maintenance command finished first; run the command again"),
            error => refused("write to", kept, error),
        })?;
    Ok(())
}

/// A file of a table that is not whole.
fn broken(kept: Kept, file: &LiveFile, cause: Cause) -> Failure {
    damaged(kept, &format!("{}: {cause}", file.path())).caused_by(cause)
}

/// A table that is not what its log says: care changes nothing there.
pub(crate) fn damaged(kept: Kept, problem: &str) -> Failure {
    Failure::new(
        Kind::Damaged,
        format!("the table {} is damaged: {problem}", kept.name()),
    )
    .mend("`bractline store verify` says what is damaged; nothing of it was changed")
}
