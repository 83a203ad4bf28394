//! What the store already knows, for deciding what a record is: new, a duplicate, a conflict.
//!
//! Keys are kept as the first half of a SHA-256, 16 bytes: a chance meeting of two among ten
//! million is below 1e-24.

use std::collections::{HashMap, HashSet};

use arrow::array::{Array, AsArray, RecordBatch};
use arrow::compute::cast;
use arrow::datatypes::{DataType, Int32Type};
use datafusion::prelude::SessionContext;
use deltalake::DeltaTable;
use futures::TryStreamExt;
use sha2::{Digest, Sha256};

use super::snapshot::{Snapshot, unreadable};
use super::tables::Store;
use crate::failure::Failure;

/// The records that count at one version of the store.
pub struct KnownRecords {
    receipts: DeltaTable,
    visits: HashMap<u128, u128>,
    held: HashSet<u128>,
    load_ids: HashSet<String>,
}

/// What a look at a newer version brought.
#[derive(Debug, Default)]
pub struct NewlyKnown {
    /// Keys of visits that became visible.
    pub visits: Vec<u128>,
    /// Keys of held records that became visible.
    pub held: Vec<u128>,
}

/// The key of a visit revision.
pub fn visit_key(visit_id: &str, revision: u32) -> u128 {
    let hash = Sha256::new()
        .chain_update(visit_id.as_bytes())
        .chain_update([0])
        .chain_update(revision.to_le_bytes())
        .finalize();
    half(&hash)
}

/// The first half of a SHA-256.
pub fn half(hash: &[u8]) -> u128 {
    let mut bytes = [0; 16];
    bytes.copy_from_slice(&hash[..16]);
    u128::from_le_bytes(bytes)
}

impl KnownRecords {
    /// Reads what counts in the newest version.
    pub async fn read(store: &Store) -> Result<KnownRecords, Failure> {
        let snapshot = Snapshot::open(store, 1).await?;
        let mut known = KnownRecords {
            receipts: snapshot.receipts().clone(),
            visits: HashMap::new(),
            held: HashSet::new(),
            load_ids: HashSet::new(),
        };
        known.take_in(&snapshot).await?;
        Ok(known)
    }

    /// Looks at the newest version and takes in what became visible since.
    pub async fn look_again(&mut self, store: &Store) -> Result<NewlyKnown, Failure> {
        let snapshot = Snapshot::open(store, 1).await?;
        self.receipts = snapshot.receipts().clone();
        self.take_in(&snapshot).await
    }

    /// Takes in what a load of this very run accepted and held, without reading it back.
    pub fn adopt(
        &mut self,
        load_id: Option<&str>,
        (visits, held): (HashMap<u128, u128>, HashSet<u128>),
    ) {
        // The first load of a run brings most: what it knows is taken over, not copied.
        if self.visits.is_empty() {
            self.visits = visits;
        } else {
            self.visits.extend(visits);
        }
        self.held.extend(held);
        self.load_ids.extend(load_id.map(str::to_owned));
    }

    /// Content of a visit revision, if it is known.
    pub fn content(&self, key: u128) -> Option<u128> {
        self.visits.get(&key).copied()
    }

    /// Whether these very bytes are held.
    pub fn holds(&self, record: u128) -> bool {
        self.held.contains(&record)
    }

    /// The receipts at the version that was read.
    pub fn receipts(&self) -> &DeltaTable {
        &self.receipts
    }

    async fn take_in(&mut self, snapshot: &Snapshot) -> Result<NewlyKnown, Failure> {
        let session = snapshot.session();
        let receipts = batches(session, "select load_id from receipts").await?;
        let load_ids: HashSet<String> = receipts.iter().flat_map(|batch| texts(batch, 0)).collect();
        let new_ids: Vec<&String> = load_ids.difference(&self.load_ids).collect();
        let mut newly = NewlyKnown::default();
        if new_ids.is_empty() {
            return Ok(newly);
        }
        // At the first look every load counts, and no filter is quicker than a long one.
        let mark = if self.load_ids.is_empty() {
            "load_id in (select load_id from receipts)".to_owned()
        } else {
            // Load ids are ours: UUIDs, without quotes.
            let list: Vec<String> = new_ids.iter().map(|id| format!("'{id}'")).collect();
            format!("load_id in ({})", list.join(", "))
        };
        self.take_in_visits(session, &mark, &mut newly).await?;
        self.take_in_held(session, &mark, &mut newly).await?;
        self.load_ids = load_ids;
        Ok(newly)
    }

    async fn take_in_visits(
        &mut self,
        session: &SessionContext,
        mark: &str,
        newly: &mut NewlyKnown,
    ) -> Result<(), Failure> {
        let query = format!("select visit_id, revision, content_sha256 from visits where {mark}");
        let mut stream = stream(session, &query).await?;
        while let Some(batch) = stream
            .try_next()
            .await
            .map_err(|error| unreadable(&error))?
        {
            let contents = binary(&batch, 2);
            let contents = contents.as_binary::<i32>();
            let revisions = batch.column(1).as_primitive::<Int32Type>();
            for (row, visit_id) in texts(&batch, 0).enumerate() {
                let key = visit_key(&visit_id, revisions.value(row) as u32);
                self.visits.insert(key, half(contents.value(row)));
                newly.visits.push(key);
            }
        }
        Ok(())
    }

    async fn take_in_held(
        &mut self,
        session: &SessionContext,
        mark: &str,
        newly: &mut NewlyKnown,
    ) -> Result<(), Failure> {
        let query = format!("select record_sha256 from held where {mark}");
        for batch in batches(session, &query).await? {
            let records = binary(&batch, 0);
            for record in records.as_binary::<i32>().iter().flatten() {
                self.held.insert(half(record));
                newly.held.push(half(record));
            }
        }
        Ok(())
    }
}

async fn stream(
    session: &SessionContext,
    query: &str,
) -> Result<datafusion::execution::SendableRecordBatchStream, Failure> {
    let plan = session
        .sql(query)
        .await
        .map_err(|error| unreadable(&error))?;
    plan.execute_stream()
        .await
        .map_err(|error| unreadable(&error))
}

async fn batches(session: &SessionContext, query: &str) -> Result<Vec<RecordBatch>, Failure> {
    stream(session, query)
        .await?
        .try_collect()
        .await
        .map_err(|error| unreadable(&error))
}

/// A column of text, whichever way the engine holds it.
fn texts(batch: &RecordBatch, column: usize) -> impl Iterator<Item = String> + use<> {
    let column = cast(batch.column(column), &DataType::Utf8).expect("text is cast to text");
    let texts: Vec<String> = column
        .as_string::<i32>()
        .iter()
        .flatten()
        .map(str::to_owned)
        .collect();
    texts.into_iter()
}

fn binary(batch: &RecordBatch, column: usize) -> std::sync::Arc<dyn Array> {
    cast(batch.column(column), &DataType::Binary).expect("bytes are cast to bytes")
}
