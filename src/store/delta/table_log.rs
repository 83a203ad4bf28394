//! A table's log, replayed from its entries alone: what each says, whether one is missing or broken.
//!
//! It shares no code with the library's replay, which is based on checkpoints, so that care of the tables can
//! compare the two, and knows every file that any version ever named. Entries are never cleaned up, so that
//! all of them are there.

use std::collections::{BTreeMap, BTreeSet};

use deltalake::ObjectStore;
use deltalake::kernel::{Action, Add, Remove};
use futures::TryStreamExt;
use jiff::Timestamp;
use object_store::ObjectStoreExt;
use object_store::path::Path;
use uuid::Uuid;

use crate::delta::hashed::SHA256_TAG;
use crate::delta::tables::Store;
use crate::rows::schema::Kept;
use scouting::failure::Cause;

/// What the entries of a table's log say together.
#[derive(Debug, Default)]
pub(crate) struct TableLog {
    /// The newest version that has an entry.
    pub(crate) newest: i64,
    /// The files of that version, in the order in which they were added.
    pub(crate) live: Vec<LiveFile>,
    /// Files that were removed, and when, milliseconds since 1970.
    pub(crate) removed: BTreeMap<String, i64>,
    /// Every file that any version named.
    pub(crate) named: BTreeSet<String>,
    /// What is wrong with the entries themselves, in words.
    pub(crate) problems: Vec<String>,
}

/// A file that the newest version of a table has.
#[derive(Debug, Clone)]
pub(crate) struct LiveFile {
    add: Add,
}

impl TableLog {
    /// Replays the entries of a table's log, up to a version or to the last.
    pub(crate) async fn read(store: &Store, kept: Kept, until: Option<i64>) -> TableLog {
        let mut log = TableLog::default();
        let (files, folder) = (store.files(), store.folder_of(kept).join("_delta_log"));
        let listed = files.list(Some(&folder)).try_collect::<Vec<_>>().await;
        let mut entries: Vec<(i64, Path)> = match listed {
            Ok(listed) => (listed.into_iter())
                .filter_map(|entry| numbered(entry.location))
                .collect(),
            Err(error) => {
                log.problems.push(format!("cannot list {folder}: {error}"));
                return log;
            }
        };
        entries.sort();
        entries.retain(|(number, _)| until.is_none_or(|until| *number <= until));
        let mut expected = 0;
        for (number, path) in entries {
            while expected < number {
                log.problems
                    .push(format!("_delta_log/{expected:020}.json is missing"));
                expected += 1;
            }
            expected += 1;
            log.newest = number;
            let text = async { files.get(&path).await?.bytes().await };
            let text = text.await.map_err(Cause::from);
            if let Err(reason) = text.and_then(|text| log.take_entry(&text)) {
                log.problems
                    .push(format!("_delta_log/{number:020}.json: {reason}"));
            }
        }
        if expected == 0 {
            log.problems.push(format!("{folder} holds no entry"));
        }
        log
    }

    fn take_entry(&mut self, text: &[u8]) -> Result<(), Cause> {
        let text = std::str::from_utf8(text)?;
        if text.trim().is_empty() {
            return Err("it is empty".into());
        }
        for (place, line) in (1..).zip(text.lines()) {
            let action = serde_json::from_str::<Action>(line)
                .map_err(|error| format!("line {place} is damaged: {error}"))?;
            match action {
                Action::Add(add) => {
                    self.named.insert(add.path.clone());
                    self.removed.remove(&add.path);
                    self.live.push(LiveFile { add });
                }
                Action::Remove(remove) => {
                    self.live.retain(|file| file.add.path != remove.path);
                    self.named.insert(remove.path.clone());
                    let when = remove.deletion_timestamp.unwrap_or_default();
                    self.removed.insert(remove.path, when);
                }
                _ => {}
            }
        }
        Ok(())
    }
}

/// Whether a version changed no row of its table: its entry only puts files in the place of others, or adds columns.
/// One that cannot be read is taken for an entry that did; `store verify` names it.
pub(crate) async fn changed_no_row(store: &Store, kept: Kept, version: i64) -> bool {
    let folder = store.folder_of(kept).join("_delta_log");
    let (files, path) = (store.files(), folder.join(format!("{version:020}.json")));
    let Ok(text) = async { files.get(&path).await?.bytes().await }.await else {
        return false;
    };
    let actions = serde_json::Deserializer::from_slice(&text).into_iter::<Action>();
    let Ok(actions) = actions.collect::<Result<Vec<_>, _>>() else {
        return false;
    };
    let mut of_files = actions.iter().filter_map(|action| match action {
        Action::Add(add) => Some(add.data_change),
        Action::Remove(remove) => Some(remove.data_change),
        _ => None,
    });
    // The entry that makes a table names no file, and neither does one that adds columns to it.
    version > 0 && of_files.all(|changes| !changes)
}

/// The number of a log entry by its name: twenty digits and `.json`.
fn numbered(path: Path) -> Option<(i64, Path)> {
    let stem = path.filename()?.strip_suffix(".json")?;
    let is_number = stem.len() == 20 && stem.bytes().all(|byte| byte.is_ascii_digit());
    Some((is_number.then(|| stem.parse().ok())??, path))
}

impl LiveFile {
    /// Its path within the table's folder.
    pub(crate) fn path(&self) -> &str {
        &self.add.path
    }

    /// Its size as the log says it, bytes.
    pub(crate) fn bytes(&self) -> u64 {
        self.add.size.unsigned_abs()
    }

    /// Its rows as the log says them.
    pub(crate) fn rows(&self) -> Option<i64> {
        self.stat("numRecords")?.as_i64()
    }

    /// SHA-256 of its bytes as they were written, hexadecimal; older stores lack it.
    pub(crate) fn sha256(&self) -> Option<&str> {
        self.add.tags.as_ref()?.get(SHA256_TAG)?.as_deref()
    }

    /// The season whose folder it is in, if its table has them.
    pub(crate) fn season(&self) -> Option<i32> {
        let season = self.add.partition_values.get("season")?;
        season.as_ref()?.parse().ok()
    }

    /// The least value of a column as the log says it.
    pub(crate) fn least(&self, column: &str) -> Option<serde_json::Value> {
        self.stat("minValues")?.get(column).cloned()
    }

    /// The greatest value of a column as the log says it.
    pub(crate) fn greatest(&self, column: &str) -> Option<serde_json::Value> {
        self.stat("maxValues")?.get(column).cloned()
    }

    fn stat(&self, name: &str) -> Option<serde_json::Value> {
        let stats: serde_json::Value = serde_json::from_str(self.add.stats.as_deref()?).ok()?;
        stats.get(name).cloned()
    }

    /// The load whose rows these are, where the log knows that all of them are of one.
    pub(crate) fn only_load(&self) -> Option<String> {
        self.only("load_id")
    }

    /// A column's text, where the log knows that all rows have the same.
    pub(crate) fn only(&self, column: &str) -> Option<String> {
        let least = self.least(column)?;
        let text = least.as_str()?.to_owned();
        (self.greatest(column)? == least).then_some(text)
    }

    /// The action that takes it out of the table; whether rows vanish with it.
    pub(crate) fn removal(&self, now: Timestamp, rows_vanish: bool) -> Remove {
        Remove {
            path: self.add.path.clone(),
            data_change: rows_vanish,
            deletion_timestamp: Some(now.as_millisecond()),
            extended_file_metadata: Some(true),
            partition_values: Some(self.add.partition_values.clone()),
            size: Some(self.add.size),
            ..Remove::default()
        }
    }
}

/// When a load or a drop began: its id says so.
pub(crate) fn begun_at(load_id: &str) -> Option<Timestamp> {
    let (seconds, nanoseconds) = Uuid::parse_str(load_id).ok()?.get_timestamp()?.to_unix();
    let seconds = i64::try_from(seconds).ok()?;
    Timestamp::new(seconds, i32::try_from(nanoseconds).ok()?).ok()
}
