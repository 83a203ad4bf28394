//! The loads of a store as their receipts say them, and which of them are taken back.

use std::collections::{BTreeSet, HashMap, HashSet};

use jiff::Timestamp;
use jiff::civil::Date;
use serde::{Deserialize, Serialize, Serializer};

use crate::delta::snapshot::Snapshot;
use crate::rows::decode;
use crate::rows::query_rows::rows;
use scouting::failure::Failure;
use scouting::visit::week::Weeks;

/// One load, as its receipt says it.
#[derive(Debug, Clone, Serialize, Deserialize)]
pub struct Load {
    /// Its id.
    pub load_id: String,
    /// When it was received.
    #[serde(deserialize_with = "decode::moment", serialize_with = "as_text")]
    pub received_at: Timestamp,
    /// Who sent it, if it is known.
    pub sender: Option<String>,
    /// Name of the file.
    pub file_name: String,
    /// Records in it.
    pub received: u64,
    /// Records that it brought.
    pub accepted: u64,
    /// Records that were there already.
    pub duplicate: u64,
    /// Records that could not be accepted.
    pub held: u64,
    /// Of these, those that were held before.
    pub held_before: u64,
    /// Accepted records with a flag.
    pub flagged: u64,
    /// Held records that it closed.
    pub closed: u64,
    /// Of an undo: the load that it takes back, or brings back.
    pub undoes: Option<String>,
    /// Of an undo or an edit: why.
    pub reason: Option<String>,
    /// Of an undo or an edit: who made it.
    pub who: Option<String>,
}

/// All loads in the order of arrival.
///
/// # Errors
/// A [`Failure`] if the store cannot be read.
pub async fn all_loads(snapshot: &Snapshot) -> Result<Vec<Load>, Failure> {
    let query = "select load_id, received_at, sender, file_name, received, accepted, duplicate, held, held_before, \
           flagged, closed, undoes, reason, who \
         from receipts order by receipts.received_at, load_id";
    rows(snapshot.session(), query).await
}

/// The weeks of the visits that each load brought, as 2026-W30.
///
/// # Errors
/// A [`Failure`] if the store cannot be read.
pub async fn weeks_by_load(
    snapshot: &Snapshot,
    weeks: &Weeks,
) -> Result<HashMap<String, BTreeSet<String>>, Failure> {
    #[derive(Deserialize)]
    struct Row {
        load_id: String,
        #[serde(deserialize_with = "decode::day")]
        observed_on: Date,
    }
    let query = "select distinct load_id, observed_on from visits where load_id in (select load_id from receipts)";
    let mut by_load: HashMap<String, BTreeSet<String>> = HashMap::new();
    for row in rows::<Row>(snapshot.session(), query).await? {
        let week = weeks.of(row.observed_on).to_string();
        by_load.entry(row.load_id).or_default().insert(week);
    }
    Ok(by_load)
}

/// The ids of the loads that are taken back: named by an undo, and not brought back since.
pub fn taken_back(loads: &[Load]) -> HashSet<&str> {
    let mut taken_back = HashSet::new();
    for undone in loads.iter().filter_map(|load| load.undoes.as_deref()) {
        // Named an even number of times, a load is in effect.
        if !taken_back.remove(undone) {
            taken_back.insert(undone);
        }
    }
    taken_back
}

fn as_text<S: Serializer>(moment: &Timestamp, serializer: S) -> Result<S::Ok, S::Error> {
    serializer.collect_str(moment)
}
