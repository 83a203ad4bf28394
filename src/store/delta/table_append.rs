//! Rows appended to one table: how its files are written, and the commit that names them.

use std::sync::Arc;

use arrow::array::RecordBatch;
use deltalake::datafile::writer::{DeltaWriter, WriterConfig};
use deltalake::kernel::transaction::{CommitBuilder, CommitProperties};
use deltalake::kernel::{Action, Add};
use deltalake::protocol::{DeltaOperation, SaveMode};
use deltalake::table::config::TablePropertiesExt;
use deltalake::{DeltaTable, DeltaTableError};
use parquet::basic::{Compression, Encoding, ZstdLevel};
use parquet::file::properties::{EnabledStatistics, WriterProperties};
use parquet::schema::types::ColumnPath;

use crate::delta::hashed::{HashedFiles, SHA256_TAG};
use crate::delta::tables::{Store, refused};
use crate::rows::column::{Column, Holds};
use crate::rows::schema::{Kept, arrow_schema};
use scouting::failure::{Failure, Kind};

/// A row group is written when it has grown to about this size, or to so many rows, so that memory
/// does not grow with the submission. Encoded rows of `units` are small and their buffers are not.
const ROW_GROUP_BYTES: usize = 2 << 20;
const ROW_GROUP_ROWS: usize = 1 << 17;
/// So many rows are handed to the encoder at a time.
const WRITTEN_ROWS: usize = 1 << 14;

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
            .map_err(|error| refused("open", kept, error))?
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

    pub(crate) async fn write(&mut self, batch: RecordBatch) -> Result<(), Failure> {
        self.writer
            .write(&batch)
            .await
            .map_err(|error| refused("write to", self.kept, error))
    }

    /// Writes rows of one season to a table that is divided by seasons: left to itself, the writer would
    /// look at the season of every row and copy all columns.
    pub(super) async fn write_season(
        &mut self,
        batch: RecordBatch,
        season: i32,
    ) -> Result<(), Failure> {
        let of_season = self.kept.partition_columns().into_iter();
        let of_season = of_season.map(|column| (column, season.into())).collect();
        self.writer
            .write_partition(batch, &of_season)
            .await
            .map_err(|error| refused("write to", self.kept, error))
    }

    /// Completes the files that are open; what is written next goes to new ones.
    pub(super) async fn end_files(&mut self) -> Result<(), Failure> {
        let files = self.table.log_store().object_store(None);
        let next = DeltaWriter::new(files, self.config.clone());
        let adds = std::mem::replace(&mut self.writer, next).close().await;
        self.adds
            .extend(adds.map_err(|error| refused("write to", self.kept, error))?);
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

    /// Gives up the files that are open; those that are complete stay invisible.
    pub(super) async fn abandon(self) {
        if let Err(error) = self.writer.abort().await {
            tracing::warn!(%error, table = self.kept.name(), "could not give up an upload");
        }
    }

    pub(super) async fn commit(self) -> Result<(), Failure> {
        let kept = self.kept;
        let (table, adds) = self.close().await?;
        if adds.is_empty() {
            return Ok(());
        }
        let actions = adds.into_iter().map(Action::Add).collect();
        commit(&table, kept, actions, CommitProperties::default())
            .await
            .map_err(|error| match error {
                DeltaTableError::Transaction { .. } => Failure::because(
                    Kind::Busy,
                    format!("the table {} stayed busy", kept.name()),
                    error,
                )
                .mend(
                    "load again when the other loads have finished; nothing of this one was loaded",
                ),
                error => refused("write to", kept, error),
            })
    }
}

pub(super) async fn commit(
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
                // Of 30 units per visit the id is the same: to compare them letter by letter costs most.
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
