//! What no version needs any more, removed from the disk: old files of tables that were put together, what
//! a killed command left under a name that nobody reads, and rows of loads that never got their receipt.
//!
//! Age protects what runs at the same time: nothing younger than the limit is touched, be it a file or the
//! id of a load, which says when it began. Receipts and alerts lose no file that any version ever named,
//! and the rows of a load that has a receipt are in every version since, so each issued alert can be built
//! again.

use std::collections::HashSet;
use std::fs::Metadata;

use deltalake::kernel::Action;
use deltalake::protocol::DeltaOperation;
use jiff::{SignedDuration, Timestamp};
use serde::Serialize;

use crate::delta::compact::{commit_care, damaged};
use crate::delta::durable::{STAGED_END, STAGED_START};
use crate::delta::listing::{every_file, remove_file};
use crate::delta::snapshot::{receipted_loads, version_of};
use crate::delta::table_log::{LiveFile, TableLog, begun_at};
use crate::delta::tables::{Store, refused};
use crate::rows::closings::counts_by_itself;
use crate::rows::schema::Kept;
use scouting::failure::Failure;

/// The tables whose rows count once a receipt names their load.
const OF_LOADS: [Kept; 4] = [Kept::Visits, Kept::Units, Kept::Held, Kept::HeldClosed];

/// What was removed, or would be.
#[derive(Debug, Clone, Default, Serialize)]
pub struct Removed {
    /// Files of loads that have no receipt, taken out of their tables.
    pub unfinished: Vec<Unfinished>,
    /// Files removed from the disk.
    pub files: Vec<RemovedFile>,
}

/// A file of a load that was broken off.
#[derive(Debug, Clone, Serialize)]
pub struct Unfinished {
    /// The table.
    pub table: &'static str,
    /// The file within its folder.
    pub file: String,
    /// The load.
    pub load_id: String,
    /// Its rows; none of them ever counted.
    pub rows: i64,
}

/// A file that is gone from the disk.
#[derive(Debug, Clone, Serialize)]
pub struct RemovedFile {
    /// Its path within the store.
    pub path: String,
    /// Its size.
    pub bytes: u64,
    /// Why it may go.
    pub why: Why,
}

/// Why a file may go.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Why {
    /// A killed command left it under a name that nobody reads.
    Staged,
    /// No version of the table ever named it: the command was killed before its commit.
    NeverNamed,
    /// The table has not had it since before the limit.
    NoLongerNamed,
}

/// What may be removed because of its age.
#[derive(Debug, Clone, Copy)]
pub struct Limit {
    now: Timestamp,
    older_than: SignedDuration,
}

impl Limit {
    /// What was written, removed or begun longer ago than this may go.
    pub fn new(now: Timestamp, older_than: SignedDuration) -> Limit {
        Limit { now, older_than }
    }

    fn passed(self, moment: Timestamp) -> bool {
        self.now.duration_since(moment) >= self.older_than
    }

    /// Whether a file was last written before the limit; one without a time stays.
    pub fn passed_by_file(self, metadata: &Metadata) -> bool {
        let written = metadata.modified().ok();
        written.is_some_and(|written| {
            Timestamp::try_from(written).is_ok_and(|written| self.passed(written))
        })
    }

    /// Whether a moment is longer ago than the limit.
    pub(crate) fn passed_by_moment(self, moment: Option<Timestamp>) -> bool {
        moment.is_some_and(|moment| self.passed(moment))
    }

    /// Whether what bears this id was begun before the limit; an id that does not say so protects.
    pub(crate) fn passed_by_id(self, id: &str) -> bool {
        begun_at(id).is_some_and(|begun| self.passed(begun))
    }
}

/// Removes what no version since the limit needs. With `dry_run` it only says what.
///
/// # Errors
/// A [`Failure`] if a log is damaged: then nothing is removed.
pub async fn vacuum(store: &Store, limit: Limit, dry_run: bool) -> Result<Removed, Failure> {
    let mut tables = Kept::ALL.to_vec();
    // A store of an earlier version may lack the alerts; any other table that is gone is damage.
    if !store.has(Kept::Alerts).await {
        tables.retain(|kept| *kept != Kept::Alerts);
    }
    for kept in &tables {
        whole_log(store, *kept, None).await?;
    }
    let mut removed = Removed::default();
    for kept in tables.iter().filter(|kept| OF_LOADS.contains(kept)) {
        let unfinished = take_out_unfinished(store, *kept, limit, dry_run).await?;
        removed.unfinished.extend(unfinished);
    }
    for kept in tables {
        removed
            .files
            .extend(remove_files(store, kept, limit, dry_run).await?);
    }
    Ok(removed)
}

/// A table's log, if every entry of it can be read: else it is not known what old versions need.
async fn whole_log(store: &Store, kept: Kept, until: Option<i64>) -> Result<TableLog, Failure> {
    let log = TableLog::read(store, kept, until).await;
    match log.problems.first() {
        Some(problem) => Err(damaged(kept, problem)),
        None => Ok(log),
    }
}

/// Takes the files of loads without receipt out of a table.
async fn take_out_unfinished(
    store: &Store,
    kept: Kept,
    limit: Limit,
    dry_run: bool,
) -> Result<Vec<Unfinished>, Failure> {
    let table = store.table(kept).await?;
    // Read after the table: a load that got its receipt meanwhile has it here.
    let receipted = receipted_loads(store).await?;
    let log = whole_log(store, kept, Some(version_of(&table))).await?;
    let broken_off = |file: &&LiveFile| {
        // A file that was put together of several loads has rows that count, and no others. Rows of a
        // drop count as they are.
        let of_the_desk = file.only("how").is_some_and(|how| counts_by_itself(&how));
        !of_the_desk
            && file
                .only_load()
                .is_some_and(|load| !receipted.contains(&load) && limit.passed_by_id(&load))
    };
    let files: Vec<&LiveFile> = log.live.iter().filter(broken_off).collect();
    if !dry_run && !files.is_empty() {
        let removals = files.iter().map(|file| file.removal(limit.now, true));
        let actions = removals.map(Action::Remove).collect();
        let operation = DeltaOperation::Delete { predicate: None };
        commit_care(kept, &table, actions, operation).await?;
    }
    Ok(files
        .into_iter()
        .map(|file| Unfinished {
            table: kept.name(),
            file: file.path().to_owned(),
            load_id: file.only_load().unwrap_or_default(),
            rows: file.rows().unwrap_or_default(),
        })
        .collect())
}

/// Removes files of a table's folder that no version since the limit names.
async fn remove_files(
    store: &Store,
    kept: Kept,
    limit: Limit,
    dry_run: bool,
) -> Result<Vec<RemovedFile>, Failure> {
    // Listed before the log is read: a file that is committed between the two is named then.
    let listed = every_file(store, kept).await?;
    let log = whole_log(store, kept, None).await?;
    let table = store.table(kept).await?;
    let state = table
        .snapshot()
        .map_err(|error| refused("open", kept, error))?;
    // What the library, which reads checkpoints, calls live stays as well.
    let mut live: HashSet<String> = state
        .log_data()
        .iter()
        .map(|file| file.path().into_owned())
        .collect();
    live.extend(log.live.iter().map(|file| file.path().to_owned()));
    let mut removed = Vec::new();
    for file in listed {
        let Some(why) = why(kept, &log, &file.within, limit) else {
            continue;
        };
        if !limit.passed_by_moment(file.written) || live.contains(&file.within) {
            continue;
        }
        if !dry_run {
            remove_file(store, kept, &file).await?;
        }
        removed.push(RemovedFile {
            path: format!("{}/{}", kept.name(), file.within),
            bytes: file.bytes,
            why,
        });
    }
    Ok(removed)
}

/// Why a file may go, by its name and by the log; `None` for what stays, and for what is not ours.
fn why(kept: Kept, log: &TableLog, within: &str, limit: Limit) -> Option<Why> {
    let name = within.rsplit('/').next().unwrap_or(within);
    let is_staged = (name.starts_with(STAGED_START) && name.contains(STAGED_END))
        || name
            .split_once('#')
            .is_some_and(|(before, _)| before.ends_with(".parquet") || before.ends_with(".json"));
    if is_staged {
        return Some(Why::Staged);
    }
    if within.starts_with("_delta_log/") || !name.ends_with(".parquet") {
        return None;
    }
    match (log.removed.get(within), log.named.contains(within)) {
        (_, false) => Some(Why::NeverNamed),
        // An old version of these tables must stay readable: alerts name it.
        (Some(_), true) if matches!(kept, Kept::Receipts | Kept::Alerts) => None,
        (Some(when), true) => {
            let when = Timestamp::from_millisecond(*when).ok()?;
            limit.passed(when).then_some(Why::NoLongerNamed)
        }
        (None, true) => None,
    }
}
