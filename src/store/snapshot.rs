//! A fixed version of the tables, for reading.
//!
//! The store's version is that of the receipts: a row counts if a receipt of that version names its
//! load. The receipts are opened first, so that every row that they name is there.

use std::collections::HashSet;

use arrow::array::{Array, AsArray};
use arrow::compute::cast;
use arrow::datatypes::{DataType, Int64Type};
use datafusion::prelude::{SessionConfig, SessionContext};
use deltalake::DeltaTable;
use jiff::Timestamp;

use super::tables::{Kept, Store};
use crate::failure::{Failure, Kind};

/// A fixed version of the kept tables, registered under their names.
pub struct Snapshot {
    session: SessionContext,
    receipts: DeltaTable,
    closings: DeltaTable,
}

impl Snapshot {
    /// Opens the newest version; `partitions` is how many parts a query may be split into.
    pub async fn open(store: &Store, partitions: usize) -> Result<Snapshot, Failure> {
        let receipts = store.table(Kept::Receipts).await?;
        Snapshot::with_receipts(store, receipts, partitions).await
    }

    /// Opens an earlier version: what later loads brought has no receipt in it, so it does not count.
    pub async fn at(store: &Store, version: i64, partitions: usize) -> Result<Snapshot, Failure> {
        let receipts = store.table_at(Kept::Receipts, version).await?;
        Snapshot::with_receipts(store, receipts, partitions).await
    }

    async fn with_receipts(
        store: &Store,
        receipts: DeltaTable,
        partitions: usize,
    ) -> Result<Snapshot, Failure> {
        let session = SessionContext::new_with_config(
            SessionConfig::new().with_target_partitions(partitions),
        );
        register(&session, Kept::Receipts, &receipts).await?;
        for kept in [Kept::Visits, Kept::Units, Kept::Held] {
            register(&session, kept, &store.table(kept).await?).await?;
        }
        let closings = store.table(Kept::HeldClosed).await?;
        register(&session, Kept::HeldClosed, &closings).await?;
        Ok(Snapshot {
            session,
            receipts,
            closings,
        })
    }

    /// The version of the store: that of its receipts.
    pub fn version(&self) -> i64 {
        version_of(&self.receipts)
    }

    /// When the newest submission came in; `None` if there is none.
    pub async fn received_until(&self) -> Result<Option<Timestamp>, Failure> {
        let query = "select cast(max(received_at) as bigint) from receipts";
        let plan = self
            .session
            .sql(query)
            .await
            .map_err(|error| unreadable(&error))?;
        let batches = plan.collect().await.map_err(|error| unreadable(&error))?;
        let newest = batches
            .iter()
            .find(|batch| batch.num_rows() > 0)
            .and_then(|batch| {
                let column = batch.column(0).as_primitive::<Int64Type>();
                column.is_valid(0).then(|| column.value(0))
            });
        Ok(newest.and_then(|moment| Timestamp::from_microsecond(moment).ok()))
    }

    /// The session in which the tables stand.
    pub fn session(&self) -> &SessionContext {
        &self.session
    }

    /// The receipts table at this version.
    pub fn receipts(&self) -> &DeltaTable {
        &self.receipts
    }

    /// The table of closings at this version.
    pub fn closings(&self) -> &DeltaTable {
        &self.closings
    }
}

/// The Delta version of an open table.
pub(super) fn version_of(table: &DeltaTable) -> i64 {
    // Delta counts in 63 bits.
    table.version().map_or(0, |version| version as i64)
}

/// The loads that have a receipt at the newest version.
pub(super) async fn receipted_loads(store: &Store) -> Result<HashSet<String>, Failure> {
    let session = SessionContext::new();
    register(
        &session,
        Kept::Receipts,
        &store.table(Kept::Receipts).await?,
    )
    .await?;
    let plan = session
        .sql("select load_id from receipts")
        .await
        .map_err(|error| unreadable(&error))?;
    let batches = plan.collect().await.map_err(|error| unreadable(&error))?;
    let mut loads = HashSet::new();
    for batch in batches {
        let ids = cast(batch.column(0), &DataType::Utf8).map_err(|error| {
            Failure::new(Kind::Store, format!("cannot read the receipts: {error}"))
        })?;
        loads.extend(ids.as_string::<i32>().iter().flatten().map(str::to_owned));
    }
    Ok(loads)
}

pub(super) async fn register(
    session: &SessionContext,
    kept: Kept,
    table: &DeltaTable,
) -> Result<(), Failure> {
    let provider = table
        .table_provider()
        .await
        .map_err(|error| unreadable(&error))?;
    session
        .register_table(kept.name(), provider)
        .map_err(|error| unreadable(&error))?;
    Ok(())
}

/// A query of ours that the engine could not run.
pub(super) fn unreadable(error: &datafusion::error::DataFusionError) -> Failure {
    Failure::new(Kind::Store, format!("cannot read the store: {error}"))
        .mend("`bractline store verify` names the file that is damaged")
}
