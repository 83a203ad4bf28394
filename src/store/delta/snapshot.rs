//! A fixed version of the tables, for reading.
//!
//! The store's version is that of the receipts: a row counts if a receipt of that version names its
//! load. The receipts are opened first, so that every row that they name is there. Receipts that were put
//! together since are the same in fewer files, and still the version of the last load: nothing that bears
//! a version changes by it.

use std::collections::HashSet;
use std::sync::Arc;

use arrow::datatypes::{Schema, SchemaRef};
use datafusion::catalog::TableProvider;
use datafusion::common::ScalarValue;
use datafusion::datasource::provider_as_source;
use datafusion::error::DataFusionError;
use datafusion::logical_expr::LogicalPlanBuilder;
use datafusion::prelude::{DataFrame, SessionConfig, SessionContext, lit};
use deltalake::DeltaTable;
use jiff::Timestamp;
use serde::Deserialize;
use url::Url;

use crate::delta::table_log::changed_no_row;
use crate::delta::tables::{Store, refused};
use crate::rows::column::Column;
use crate::rows::query_rows::{one_row, rows, unreadable};
use crate::rows::schema::{Kept, arrow_schema};
use scouting::failure::{Failure, Kind};

/// Fewer visits than this are not worth a part of their own: to split a query and bring its rows together again
/// costs more of the processors than it gains in time (`tests/benches/RESULTS.md`).
const VISITS_A_PART: usize = 250_000;

/// Into how many parts queries over the visits are split, `most` at the most.
pub async fn parts_that_pay(store: &Store, most: usize) -> Result<usize, Failure> {
    let visits = rows_in(&store.table(Kept::Visits).await?)?;
    Ok((visits / VISITS_A_PART).clamp(1, most))
}

/// The rows of the visits, those of loads without receipt too, as the log says them.
fn rows_in(visits: &DeltaTable) -> Result<usize, Failure> {
    let state = visits
        .snapshot()
        .map_err(|error| refused("open", Kept::Visits, error))?;
    let files = state.log_data();
    Ok(files.iter().filter_map(|file| file.num_records()).sum())
}

/// A fixed version of the kept tables, registered under their names.
pub struct Snapshot {
    session: SessionContext,
    visits: DeltaTable,
    receipts: DeltaTable,
    closings: DeltaTable,
    version: i64,
}

impl Snapshot {
    /// Opens the newest version; `partitions` is how many parts a query may be split into.
    pub async fn open(store: &Store, partitions: usize) -> Result<Snapshot, Failure> {
        let receipts = store.table(Kept::Receipts).await?;
        let version = version_of_loads(store, &receipts).await;
        Snapshot::with_receipts(store, receipts, version, partitions).await
    }

    /// Opens an earlier version: what later loads brought has no receipt in it, so it does not count.
    pub async fn at(store: &Store, version: i64, partitions: usize) -> Result<Snapshot, Failure> {
        let (receipts, version) = receipts_at(store, version).await?;
        Snapshot::with_receipts(store, receipts, version, partitions).await
    }

    /// Opens an earlier version, or the newest if none is named.
    pub async fn of(
        store: &Store,
        version: Option<i64>,
        partitions: usize,
    ) -> Result<Snapshot, Failure> {
        match version {
            Some(version) => Snapshot::at(store, version, partitions).await,
            None => Snapshot::open(store, partitions).await,
        }
    }

    async fn with_receipts(
        store: &Store,
        receipts: DeltaTable,
        version: i64,
        partitions: usize,
    ) -> Result<Snapshot, Failure> {
        let session = SessionContext::new_with_config(
            SessionConfig::new().with_target_partitions(partitions),
        );
        register(&session, Kept::Receipts, &receipts).await?;
        let visits = store.table(Kept::Visits).await?;
        register(&session, Kept::Visits, &visits).await?;
        for kept in [Kept::Units, Kept::Held] {
            register(&session, kept, &store.table(kept).await?).await?;
        }
        let closings = store.table(Kept::HeldClosed).await?;
        register(&session, Kept::HeldClosed, &closings).await?;
        Ok(Snapshot {
            session,
            visits,
            receipts,
            closings,
            version,
        })
    }

    /// The same version in a session of its own, with its receipts, and its visits under another name.
    pub(crate) async fn with_visits_as(&self, name: &str) -> Result<Snapshot, Failure> {
        let session = SessionContext::new_with_config(self.session.copied_config());
        register(&session, Kept::Receipts, &self.receipts).await?;
        register_as(&session, Kept::Visits, name, &self.visits).await?;
        Ok(Snapshot {
            session,
            visits: self.visits.clone(),
            receipts: self.receipts.clone(),
            closings: self.closings.clone(),
            version: self.version,
        })
    }

    /// The rows of the visits, those of loads without receipt too, as the log says them.
    pub(crate) fn rows_of_visits(&self) -> Result<u64, Failure> {
        Ok(rows_in(&self.visits)? as u64)
    }

    /// The version of the store: that of its receipts.
    pub fn version(&self) -> i64 {
        self.version
    }

    /// When the newest submission came in; `None` if there is none.
    pub async fn received_until(&self) -> Result<Option<Timestamp>, Failure> {
        #[derive(Deserialize)]
        struct Newest {
            received_at: Option<i64>,
        }
        let query = "select cast(max(received_at) as bigint) as received_at from receipts";
        let newest: Newest = one_row(&self.session, query).await?;
        let newest = newest.received_at;
        Ok(newest.and_then(|moment| Timestamp::from_microsecond(moment).ok()))
    }

    /// The Parquet files of `visits` at this version, and the columns that each of them holds: all but the one
    /// that its folder represents.
    ///
    /// # Errors
    /// A [`Failure`] if the store is not a folder of the disk.
    pub fn visit_files(&self) -> Result<(Vec<Url>, SchemaRef), Failure> {
        let found = self
            .visits
            .get_file_uris()
            .map_err(|error| refused("list", Kept::Visits, error))?;
        let files: Option<Vec<Url>> = found.map(|file| Url::from_file_path(file).ok()).collect();
        let files = files.ok_or_else(|| {
            Failure::new(Kind::Store, "a cluster cannot read a store in a bucket")
                .mend("leave --cluster out, or keep the store in a folder that every host sees")
        })?;
        let columns = arrow_schema(Kept::Visits.columns());
        let of_folders = Kept::Visits.partition_columns();
        let columns = columns.fields().iter();
        let columns = columns.filter(|column| !of_folders.contains(column.name()));
        Ok((
            files,
            Arc::new(Schema::new(columns.cloned().collect::<Vec<_>>())),
        ))
    }

    /// The loads that have a receipt at this version: one column, `load_id`.
    #[cfg(feature = "cluster")]
    pub(crate) async fn receipted_loads(&self) -> Result<arrow::array::RecordBatch, Failure> {
        let plan = self.session.sql("select load_id from receipts").await;
        let plan = plan.map_err(unreadable)?;
        let schema = Arc::new(plan.schema().as_arrow().clone());
        let batches = plan.collect().await.map_err(unreadable)?;
        arrow::compute::concat_batches(&schema, &batches)
            .map_err(|error| Failure::because(Kind::Store, "cannot read the receipts", error))
    }

    /// The session in which the tables are registered.
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
pub(crate) fn version_of(table: &DeltaTable) -> i64 {
    // Delta counts in 63 bits.
    table.version().map_or(0, |version| version as i64)
}

/// The receipts of an earlier version, and the version of its last load.
///
/// # Errors
/// A [`Failure`] if the store never had this version, or if one of its files is gone.
pub(crate) async fn receipts_at(store: &Store, version: i64) -> Result<(DeltaTable, i64), Failure> {
    let newest = store.table(Kept::Receipts).await?;
    // The same receipts, perhaps in fewer files.
    if version_of_loads(store, &newest).await == version {
        return Ok((newest, version));
    }
    let receipts = store.table_at(Kept::Receipts, version).await?;
    if let Some(file) = store.missing_file(Kept::Receipts, &receipts).await? {
        return Err(Failure::new(
            Kind::Store,
            format!("version {version} of the store cannot be read any more: a file of it is gone"),
        )
        .at(file)
        .mend(
            "`bractline store vacuum` keeps all of them: restore the file from a backup, or name a later version",
        ));
    }
    let version = version_of_loads(store, &receipts).await;
    Ok((receipts, version))
}

/// The version of the last load: those after it that only put receipts together are passed over.
async fn version_of_loads(store: &Store, receipts: &DeltaTable) -> i64 {
    let mut version = version_of(receipts);
    while changed_no_row(store, Kept::Receipts, version).await {
        version -= 1;
    }
    version
}

/// The loads that have a receipt at the newest version.
pub(crate) async fn receipted_loads(store: &Store) -> Result<HashSet<String>, Failure> {
    let session = SessionContext::new();
    register(
        &session,
        Kept::Receipts,
        &store.table(Kept::Receipts).await?,
    )
    .await?;
    loads_with_receipt(&session).await
}

/// The loads that have a receipt in a session's table of them.
pub(crate) async fn loads_with_receipt(
    session: &SessionContext,
) -> Result<HashSet<String>, Failure> {
    #[derive(Deserialize)]
    struct Receipted {
        load_id: String,
    }
    let rows: Vec<Receipted> = rows(session, "select load_id from receipts").await?;
    Ok(rows.into_iter().map(|row| row.load_id).collect())
}

pub(crate) async fn register(
    session: &SessionContext,
    kept: Kept,
    table: &DeltaTable,
) -> Result<(), Failure> {
    register_as(session, kept, kept.name(), table).await
}

/// The alerts are kept outside the versions of the store, so a snapshot does not hold them.
pub(crate) async fn register_alerts(
    store: &Store,
    session: &SessionContext,
) -> Result<(), Failure> {
    match store.has(Kept::Alerts).await {
        true => register(session, Kept::Alerts, &store.table(Kept::Alerts).await?).await,
        false => Ok(()),
    }
}

/// Registers a table under a name; columns that a table of an older program lacks are null in every row.
async fn register_as(
    session: &SessionContext,
    kept: Kept,
    name: &str,
    table: &DeltaTable,
) -> Result<(), Failure> {
    let provider = table.table_provider().await.map_err(unreadable)?;
    let schema = provider.schema();
    let lacking = kept.columns().iter();
    let lacking: Vec<&Column> = lacking
        .filter(|column| column.nullable && schema.field_with_name(column.name).is_err())
        .collect();
    let registered = if lacking.is_empty() {
        session.register_table(name, provider)
    } else {
        with_nulls(session, name, provider, &lacking)
            .and_then(|view| session.register_table(name, view))
    };
    registered.map_err(unreadable)?;
    Ok(())
}

/// A table with these columns besides its own, all null. What reads it is said to read the table of this name.
fn with_nulls(
    session: &SessionContext,
    name: &str,
    table: Arc<dyn TableProvider>,
    columns: &[&Column],
) -> Result<Arc<dyn TableProvider>, DataFusionError> {
    let scan = LogicalPlanBuilder::scan(name, provider_as_source(table), None)?;
    let mut frame = DataFrame::new(session.state(), scan.build()?);
    for column in columns {
        let null = ScalarValue::try_from(&column.holds.arrow())?;
        frame = frame.with_column(column.name, lit(null))?;
    }
    Ok(frame.into_view())
}
