//! One submission into the tables, in the order that makes a crash harmless.
//!
//! Rows are written and committed table by table, each bearing the `load_id` of this attempt. The
//! receipt is committed last; until it is there, no reader sees the rows. The receipt's commit is
//! bound to the version of the receipts that the decisions rest on: if another load was quicker,
//! it is refused, and the caller looks again at what became visible.

use std::collections::HashSet;
use std::sync::Arc;

use arrow::array::RecordBatch;
use deltalake::datafile::writer::{DeltaWriter, WriterConfig};
use deltalake::kernel::transaction::{CommitBuilder, CommitProperties, TransactionError};
use deltalake::kernel::{Action, Add};
use deltalake::protocol::{DeltaOperation, SaveMode};
use deltalake::table::config::TablePropertiesExt;
use deltalake::{DeltaTable, DeltaTableError};
use parquet::basic::{Compression, Encoding, ZstdLevel};
use parquet::file::properties::{EnabledStatistics, WriterProperties};
use parquet::schema::types::ColumnPath;

use crate::delta::hashed::{HashedFiles, SHA256_TAG};
use crate::delta::tables::{Store, refused};
use crate::rows::closings::{ClosingRow, closings_batch};
use crate::rows::column::{Column, Holds};
use crate::rows::receipt::Receipt;
use crate::rows::schema::{Kept, arrow_schema};
use crate::rows::written::{LoadMark, held_batch, receipt_batch, units_batch, visits_batch};
use scouting::failure::{Failure, Kind};
use scouting::visit::rows::{HeldRow, VisitRow};

/// A row group is written when it has grown to about this size, or to so many rows, so that memory
/// does not grow with the submission. Encoded rows of `units` are small and their buffers are not.
const ROW_GROUP_BYTES: usize = 2 << 20;
const ROW_GROUP_ROWS: usize = 1 << 17;
/// So many rows are handed to the encoder at a time.
const WRITTEN_ROWS: usize = 1 << 14;
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
            if let Err(error) = table.writer.abort().await {
                tracing::warn!(%error, table = table.kept.name(), "could not give up an upload");
            }
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

pub(crate) struct TableAppend {
    kept: Kept,
    files: Arc<HashedFiles>,
    table: DeltaTable,
    config: WriterConfig,
    writer: DeltaWriter,
    /// Files that are complete.
    adds: Vec<Add>,
}

impl TableAppend {
    pub(crate) async fn begin(store: &Store, kept: Kept) -> Result<TableAppend, Failure> {
        let table = store.table_to_write(kept).await?;
        let indexed = table
            .snapshot()
            .map_err(|error| refused("open", kept, &error))?
            .table_config()
            .num_indexed_cols();
        let config = WriterConfig::new(
            arrow_schema(kept.columns()),
            kept.partition_columns(),
            Some(writer_properties(kept)),
            None,
            Some(WRITTEN_ROWS),
            indexed,
            Some(statistics_columns(kept)),
        );
        Ok(TableAppend {
            kept,
            files: store.files(),
            writer: DeltaWriter::new(table.log_store().object_store(None), config.clone()),
            table,
            config,
            adds: Vec::new(),
        })
    }

    pub(crate) async fn write(&mut self, batch: arrow::array::RecordBatch) -> Result<(), Failure> {
        self.writer
            .write(&batch)
            .await
            .map_err(|error| refused("write to", self.kept, &error))
    }

    /// Writes rows of one season to a table that is divided by seasons: left to itself, the writer would
    /// look at the season of every row and copy all columns.
    async fn write_season(
        &mut self,
        batch: arrow::array::RecordBatch,
        season: i32,
    ) -> Result<(), Failure> {
        let of_season = self.kept.partition_columns().into_iter();
        let of_season = of_season.map(|column| (column, season.into())).collect();
        self.writer
            .write_partition(batch, &of_season)
            .await
            .map_err(|error| refused("write to", self.kept, &error))
    }

    /// Completes the files that are open; what is written next goes to new ones.
    async fn end_files(&mut self) -> Result<(), Failure> {
        let files = self.table.log_store().object_store(None);
        let next = DeltaWriter::new(files, self.config.clone());
        let adds = std::mem::replace(&mut self.writer, next).close().await;
        self.adds
            .extend(adds.map_err(|error| refused("write to", self.kept, &error))?);
        Ok(())
    }

    /// The table, and its new files, not committed yet, each with the SHA-256 of its bytes.
    pub(crate) async fn close(mut self) -> Result<(DeltaTable, Vec<Add>), Failure> {
        self.end_files().await?;
        for add in &mut self.adds {
            let name = add.path.rsplit('/').next().unwrap_or(&add.path);
            let sha256 = self.files.take_sha256(name);
            add.tags = sha256.map(|sha256| [(SHA256_TAG.to_owned(), Some(sha256))].into());
        }
        Ok((self.table, self.adds))
    }

    async fn commit(self) -> Result<(), Failure> {
        let kept = self.kept;
        let (table, adds) = self.close().await?;
        if adds.is_empty() {
            return Ok(());
        }
        let actions = adds.into_iter().map(Action::Add).collect();
        commit(&table, kept, actions, CommitProperties::default())
            .await
            .map_err(|error| match &error {
                DeltaTableError::Transaction { .. } => Failure::new(
                    Kind::Busy,
                    format!("the table {} stayed busy: {error}", kept.name()),
                )
                .mend(
                    "load again when the other loads are through; nothing of this one counts yet",
                ),
                _ => refused("write to", kept, &error),
            })
    }
}

async fn commit(
    table: &DeltaTable,
    kept: Kept,
    actions: Vec<Action>,
    properties: CommitProperties,
) -> Result<(), DeltaTableError> {
    let partition_columns = kept.partition_columns();
    let operation = DeltaOperation::Write {
        mode: SaveMode::Append,
        partition_by: (!partition_columns.is_empty()).then_some(partition_columns),
        predicate: None,
    };
    CommitBuilder::from(properties)
        .with_actions(actions)
        .build(Some(table.snapshot()?), table.log_store(), operation)
        .await?;
    Ok(())
}

/// Statistics that let a reader pass over files: those that queries ask by.
fn statistics_columns(kept: Kept) -> Vec<String> {
    let names: &[&str] = match kept {
        Kept::Visits => &[
            "load_id",
            "visit_id",
            "revision",
            "observed_on",
            "iso_week",
            "county_id",
        ],
        Kept::Units => &["load_id", "visit_id"],
        Kept::Held => &["load_id"],
        Kept::HeldClosed => &["load_id", "how"],
        Kept::Receipts => &["load_id", "received_at"],
        Kept::Alerts => &["number", "iso_week"],
    };
    names.iter().map(|name| (*name).to_owned()).collect()
}

/// The column of a file that holds a table's column.
fn leaf(column: &Column) -> ColumnPath {
    match column.holds {
        Holds::Wholes => {
            let path = [column.name, "list", "element"];
            ColumnPath::new(path.map(str::to_owned).to_vec())
        }
        _ => ColumnPath::from(column.name),
    }
}

fn writer_properties(kept: Kept) -> WriterProperties {
    let fast = ZstdLevel::try_new(1).expect("1 is a level of zstd");
    let mut properties = WriterProperties::builder()
        .set_compression(Compression::ZSTD(fast))
        .set_max_row_group_bytes(Some(ROW_GROUP_BYTES))
        .set_max_row_group_row_count(Some(ROW_GROUP_ROWS));
    // The smallest and the largest of the records say nothing, and they may be 100 MB long. Of 30 units a
    // visit they would cost as much as writing them, and nobody looks for a unit by its counts.
    properties = properties
        .set_column_statistics_enabled(ColumnPath::from("record"), EnabledStatistics::None);
    let asked_by = statistics_columns(kept);
    for (name, column) in kept
        .columns()
        .iter()
        .map(|column| (column.name, leaf(column)))
    {
        if kept == Kept::Units && !asked_by.iter().any(|asked| asked == name) {
            properties =
                properties.set_column_statistics_enabled(column.clone(), EnabledStatistics::None);
        }
        // What is unlike in every row needs no dictionary, which would only grow; ids share their beginning.
        let without_dictionary = match name {
            "visit_id" | "field_id" | "remarks" | "outline" | "content_sha256" | "record" => true,
            // Small numbers in runs: zstd packs them as well as a dictionary does, and sooner.
            "revision" | "unit" | "total" => kept == Kept::Units,
            _ => false,
        };
        if without_dictionary {
            properties = properties.set_column_dictionary_enabled(column.clone(), false);
            let encoding = match name {
                // Of 30 units a visit the id is the same: to compare them letter by letter costs most.
                "visit_id" if kept == Kept::Units => Encoding::PLAIN,
                "visit_id" | "field_id" => Encoding::DELTA_BYTE_ARRAY,
                "total" => Encoding::DELTA_BINARY_PACKED,
                _ => Encoding::PLAIN,
            };
            properties = properties.set_column_encoding(column, encoding);
        }
    }
    properties.build()
}
