//! One submission into the tables, in the order that makes a crash harmless.
//!
//! Rows are written and committed table by table, each bearing the `load_id` of this attempt. The
//! receipt is committed last; until it is there, no reader sees the rows. The receipt's commit is
//! bound to the version of the receipts that the decisions rest on: if another load was quicker,
//! it is refused, and the caller looks again at what became visible.

use std::collections::HashSet;

use arrow::array::RecordBatch;
use deltalake::kernel::transaction::{CommitProperties, TransactionError};
use deltalake::kernel::{Action, Add};
use deltalake::{DeltaTable, DeltaTableError};

use crate::delta::table_append::{TableAppend, commit};
use crate::delta::tables::{Store, refused};
use crate::rows::closings::{ClosingRow, closings_batch};
use crate::rows::receipt::Receipt;
use crate::rows::schema::Kept;
use crate::rows::written::{LoadMark, held_batch, receipt_batch, units_batch, visits_batch};
use scouting::failure::Failure;
use scouting::visit::rows::{HeldRow, VisitRow};

/// A season has files of its own, and each open file costs memory, so no more are open at a time. With fewer than
/// a mixed archive has, every batch would end files and begin others: ten seasons came to 22,000 of them.
const SEASONS_OPEN_MAX: usize = 24;

/// The tables being appended to by one attempt of one load.
pub struct Append {
    mark: LoadMark,
    visits: TableAppend,
    units: TableAppend,
    held: TableAppend,
    closings: TableAppend,
    open_seasons: HashSet<i32>,
}

/// An attempt whose rows are committed and wait for their receipt.
pub struct Written {
    receipt: Receipt,
    adds: Vec<Add>,
}

/// How a commit to one version ended.
#[derive(Debug, PartialEq, Eq)]
pub enum Sealed {
    /// It is visible and on the disk.
    Done,
    /// Another was quicker: decide again.
    Overtaken,
}

impl Append {
    /// Opens the tables for one attempt.
    pub async fn begin(store: &Store, mark: LoadMark) -> Result<Append, Failure> {
        Ok(Append {
            mark,
            visits: TableAppend::begin(store, Kept::Visits).await?,
            units: TableAppend::begin(store, Kept::Units).await?,
            held: TableAppend::begin(store, Kept::Held).await?,
            closings: TableAppend::begin(store, Kept::HeldClosed).await?,
            open_seasons: HashSet::new(),
        })
    }

    /// Writes accepted visits and their units, season by season.
    pub async fn write_visits(&mut self, mut rows: Vec<VisitRow>) -> Result<(), Failure> {
        rows.sort_by_key(|row| row.week.season());
        for rows in rows.chunk_by(|one, next| one.week.season() == next.week.season()) {
            let season = rows[0].week.season();
            self.open_season(season).await?;
            self.visits
                .write_season(visits_batch(rows, &self.mark), season)
                .await?;
            self.units
                .write_season(units_batch(rows, &self.mark), season)
                .await?;
        }
        Ok(())
    }

    async fn open_season(&mut self, season: i32) -> Result<(), Failure> {
        if self.open_seasons.len() == SEASONS_OPEN_MAX && !self.open_seasons.contains(&season) {
            self.visits.end_files().await?;
            self.units.end_files().await?;
            self.open_seasons.clear();
        }
        self.open_seasons.insert(season);
        Ok(())
    }

    /// Writes held records.
    pub async fn write_held(&mut self, rows: &[HeldRow]) -> Result<(), Failure> {
        if rows.is_empty() {
            return Ok(());
        }
        self.held.write(held_batch(rows, &self.mark)).await
    }

    /// Writes that held records are closed.
    pub async fn write_closings(&mut self, rows: &[ClosingRow]) -> Result<(), Failure> {
        if rows.is_empty() {
            return Ok(());
        }
        let rows = closings_batch(rows, &self.mark.load_id);
        self.closings.write(rows).await
    }

    /// Commits the rows, still invisible.
    pub async fn finish(self, store: &Store, receipt: Receipt) -> Result<Written, Failure> {
        assert_eq!(
            receipt.load_id(),
            self.mark.load_id,
            "a receipt names its own load"
        );
        self.visits.commit().await?;
        self.units.commit().await?;
        self.held.commit().await?;
        self.closings.commit().await?;
        let mut receipts = TableAppend::begin(store, Kept::Receipts).await?;
        receipts.write(receipt_batch(&receipt)).await?;
        let (_, adds) = receipts.close().await?;
        Ok(Written { receipt, adds })
    }

    /// Gives the attempt up; what it wrote stays invisible and is removed by `store vacuum`.
    pub async fn abandon(self) {
        for table in [self.visits, self.units, self.held, self.closings] {
            table.abandon().await;
        }
    }
}

impl Written {
    /// The receipt that waits.
    pub fn receipt(&self) -> &Receipt {
        &self.receipt
    }

    /// Commits the receipt if `receipts` is still the newest version.
    pub async fn seal(&self, receipts: &DeltaTable) -> Result<Sealed, Failure> {
        commit_to_version(receipts, Kept::Receipts, &self.adds).await
    }
}

/// Commits the rows of a drop, which count as soon as they are there, if `closings` is still the
/// newest version.
pub async fn commit_drop(
    store: &Store,
    closings: &DeltaTable,
    rows: &[ClosingRow],
    drop_id: &str,
) -> Result<Sealed, Failure> {
    let mut table = TableAppend::begin(store, Kept::HeldClosed).await?;
    table.write(closings_batch(rows, drop_id)).await?;
    let (_, adds) = table.close().await?;
    commit_to_version(closings, Kept::HeldClosed, &adds).await
}

/// Commits the row of an alert, which counts as soon as it is there, if `alerts` is still the newest
/// version: so that no number is given twice.
pub async fn commit_alert(
    store: &Store,
    alerts: &DeltaTable,
    row: RecordBatch,
) -> Result<Sealed, Failure> {
    let mut table = TableAppend::begin(store, Kept::Alerts).await?;
    table.write(row).await?;
    let (_, adds) = table.close().await?;
    commit_to_version(alerts, Kept::Alerts, &adds).await
}

async fn commit_to_version(
    table: &DeltaTable,
    kept: Kept,
    adds: &[Add],
) -> Result<Sealed, Failure> {
    let actions = adds.iter().cloned().map(Action::Add).collect();
    // No retry inside: a retry would commit on top of a change that we have not looked at.
    let properties = CommitProperties::default().with_max_retries(0);
    match commit(table, kept, actions, properties).await {
        Ok(()) => Ok(Sealed::Done),
        Err(DeltaTableError::Transaction {
            source:
                TransactionError::MaxCommitAttempts(_)
                | TransactionError::VersionAlreadyExists(_)
                | TransactionError::CommitConflict(_),
        }) => Ok(Sealed::Overtaken),
        Err(error) => Err(refused("write to", kept, &error)),
    }
}
