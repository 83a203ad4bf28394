//! Making and opening the Delta tables of a workspace.

use std::path::{Path as FilePath, PathBuf};
use std::sync::Arc;

use deltalake::kernel::engine::arrow_conversion::TryIntoKernel;
use deltalake::kernel::{StructField, StructType};
use deltalake::logstore::{
    LogStore, LogStoreFactory, ObjectStoreRef, StorageConfig, default_logstore, logstore_factories,
};
use deltalake::protocol::SaveMode;
use deltalake::{DeltaTable, DeltaTableBuilder, DeltaTableError, ObjectStore};
use futures::StreamExt;
use object_store::ObjectStoreExt;
use object_store::path::Path;
use url::Url;

use crate::delta::durable::DurableFiles;
use crate::delta::hashed::HashedFiles;
use crate::rows::schema::{Kept, arrow_schema};
use scouting::failure::{Failure, Kind};

/// Commits between two checkpoints: opening a table reads at most so many log entries.
const CHECKPOINT_INTERVAL: &str = "50";

/// Where the kept tables are: a folder of the disk, or a prefix of an object store.
#[derive(Debug, Clone)]
pub struct Store {
    /// With a slash at its end.
    address: Url,
    files: Arc<HashedFiles>,
    /// The folder, where it is one.
    folder: Option<PathBuf>,
}

impl Store {
    /// The tables in a folder, which need not be there yet.
    ///
    /// # Errors
    /// A [`Failure`] if the folder has no absolute path.
    pub fn in_folder(folder: &FilePath) -> Result<Store, Failure> {
        let unfound = |error: std::io::Error| Failure::file("find", folder, error);
        let path = std::path::absolute(folder).map_err(unfound)?;
        let address = Url::from_directory_path(&path)
            .map_err(|()| unfound(std::io::ErrorKind::InvalidFilename.into()))?;
        // The workspace's own folder is synced as well: it holds the store's name.
        let root = path.parent().unwrap_or(&path).to_path_buf();
        Ok(Store {
            address,
            files: Arc::new(HashedFiles::over(Arc::new(DurableFiles::new(root)))),
            folder: Some(path),
        })
    }

    /// The tables under an address of an object store, whose root is `files`. The keeper must put a file whole
    /// or not at all, and refuse to create one that is there: S3 does both.
    pub fn in_bucket(address: &Url, files: Arc<dyn ObjectStore>) -> Store {
        let mut address = address.clone();
        if !address.path().ends_with('/') {
            address.set_path(&format!("{}/", address.path()));
        }
        // The table library knows folders only, until it learns that others keep logs in the same way.
        if let Ok(scheme) = Url::parse(&format!("{}://", address.scheme())) {
            logstore_factories().insert(scheme, Arc::new(PlainLogs));
        }
        Store {
            address,
            files: Arc::new(HashedFiles::over(files)),
            folder: None,
        }
    }

    /// Makes the tables where none are.
    pub async fn create(&self) -> Result<(), Failure> {
        for kept in Kept::ALL {
            let made = self.create_table(kept).await;
            made.map_err(|error| refused("make", kept, error))?;
        }
        Ok(())
    }

    /// The store, if its receipts can be opened.
    pub async fn opened(self) -> Result<Store, Failure> {
        self.table(Kept::Receipts).await?;
        Ok(self)
    }

    /// What the tables are written and read through.
    pub(crate) fn files(&self) -> Arc<HashedFiles> {
        self.files.clone()
    }

    /// The folder of a table within those files.
    pub(crate) fn folder_of(&self, kept: Kept) -> Path {
        let path = Path::from_url_path(self.address.path()).unwrap_or_default();
        path.join(kept.name())
    }

    /// The folder of a table on the disk, where the store is a folder.
    pub(crate) fn disk_folder_of(&self, kept: Kept) -> Option<PathBuf> {
        Some(self.folder.as_ref()?.join(kept.name()))
    }

    /// Opens a table at its newest version.
    pub async fn table(&self, kept: Kept) -> Result<DeltaTable, Failure> {
        let opened = async { self.builder(kept)?.load().await };
        opened.await.map_err(|error| refused("open", kept, error))
    }

    /// Opens a table at a version that it had.
    pub(crate) async fn table_at(&self, kept: Kept, version: i64) -> Result<DeltaTable, Failure> {
        let no_such = || {
            Failure::new(
                Kind::Store,
                format!("the table {} has no version {version}", kept.name()),
            )
            .mend("was the store restored from an older backup? `bractline store info` shows its version")
        };
        let number = u64::try_from(version).map_err(|_| no_such())?;
        let newest = self.table(kept).await?.version();
        if newest.is_none_or(|newest| newest < number) {
            return Err(no_such());
        }
        let opened = async { self.builder(kept)?.with_version(number).load().await };
        opened.await.map_err(|error| refused("open", kept, error))
    }

    /// The first file of an open table's version that is not there any more, if any.
    pub(crate) async fn missing_file(
        &self,
        kept: Kept,
        table: &DeltaTable,
    ) -> Result<Option<String>, Failure> {
        let state = table.snapshot();
        let state = state.map_err(|error| refused("open", kept, error))?;
        for file in state.log_data().iter() {
            let path = format!("{}/{}", self.folder_of(kept), file.path());
            let Ok(place) = Path::parse(&path) else {
                continue;
            };
            let found = self.files.head(&place).await;
            if matches!(found, Err(object_store::Error::NotFound { .. })) {
                return Ok(Some(path));
            }
        }
        Ok(None)
    }

    /// Whether a table is there: a store that an earlier version made may lack one.
    pub async fn has(&self, kept: Kept) -> bool {
        let log = self.folder_of(kept).join("_delta_log");
        self.files.list(Some(&log)).next().await.is_some()
    }

    /// The tables that are there.
    pub(crate) async fn tables(&self) -> Vec<Kept> {
        let mut there = Vec::new();
        for kept in Kept::ALL {
            if self.has(kept).await {
                there.push(kept);
            }
        }
        there
    }

    /// Opens a table at its newest version; one that an older store lacks is made first.
    pub(crate) async fn table_or_made(&self, kept: Kept) -> Result<DeltaTable, Failure> {
        if !self.has(kept).await {
            let made = self.create_table(kept).await;
            // Of two that make it at once one may be refused: what counts is that it is there.
            return match (self.table(kept).await, made) {
                (Err(_), Err(error)) => Err(refused("make", kept, error)),
                (opened, _) => opened,
            };
        }
        self.table(kept).await
    }

    /// Opens a table at its newest version, with every column that this program writes: one that an older program made
    /// gets those that it lacks, which are null in its rows.
    pub(crate) async fn table_with_columns(&self, kept: Kept) -> Result<DeltaTable, Failure> {
        let table = self.table_or_made(kept).await?;
        self.with_columns(kept, table).await
    }

    /// Opens a table that is there at its newest version, to be written to: with every column that this program
    /// writes.
    pub(crate) async fn table_to_write(&self, kept: Kept) -> Result<DeltaTable, Failure> {
        let table = self.table(kept).await?;
        self.with_columns(kept, table).await
    }

    async fn with_columns(&self, kept: Kept, table: DeltaTable) -> Result<DeltaTable, Failure> {
        let lacking = |table: &DeltaTable| -> Result<Vec<StructField>, DeltaTableError> {
            let there = table.snapshot()?.schema();
            let wanted: StructType = arrow_schema(kept.columns()).as_ref().try_into_kernel()?;
            let fields = wanted.fields();
            Ok(fields
                .filter(|field| there.field(field.name()).is_none())
                .cloned()
                .collect())
        };
        let failed = |error: DeltaTableError| refused("add columns to", kept, error);
        let columns = lacking(&table).map_err(failed)?;
        if columns.is_empty() {
            return Ok(table);
        }
        let added = table.add_columns().with_fields(columns).await;
        // Of two that add them at once one may be refused: what counts is that they are there.
        let table = self.table(kept).await?;
        match (lacking(&table).map_err(failed)?.is_empty(), added) {
            (false, Err(error)) => Err(failed(error)),
            (_, _) => Ok(table),
        }
    }

    async fn create_table(&self, kept: Kept) -> Result<(), DeltaTableError> {
        let schema: StructType = arrow_schema(kept.columns()).as_ref().try_into_kernel()?;
        self.builder(kept)?
            .build()?
            .create()
            .with_table_name(kept.name())
            .with_columns(schema.fields().cloned())
            .with_partition_columns(kept.partition_columns())
            .with_configuration([
                (
                    "delta.checkpointInterval".to_owned(),
                    Some(CHECKPOINT_INTERVAL.to_owned()),
                ),
                // An old version of the receipts must stay readable: alerts name it.
                (
                    "delta.enableExpiredLogCleanup".to_owned(),
                    Some("false".to_owned()),
                ),
            ])
            .with_save_mode(SaveMode::Ignore)
            .await?;
        Ok(())
    }

    fn builder(&self, kept: Kept) -> Result<DeltaTableBuilder, DeltaTableError> {
        let url = (self.address.join(&format!("{}/", kept.name())))
            .map_err(|error| DeltaTableError::InvalidTableLocation(error.to_string()))?;
        let files: Arc<dyn ObjectStore> = self.files.clone();
        Ok(DeltaTableBuilder::from_url(url.clone())?.with_storage_backend(files, url))
    }
}

/// Logs whose entries are created as files, one that is there being refused.
#[derive(Debug)]
struct PlainLogs;

impl LogStoreFactory for PlainLogs {
    fn with_options(
        &self,
        prefixed: ObjectStoreRef,
        root: ObjectStoreRef,
        location: &Url,
        options: &StorageConfig,
    ) -> Result<Arc<dyn LogStore>, DeltaTableError> {
        Ok(default_logstore(prefixed, root, location, options))
    }
}

/// A table that could not be made, opened, read or written, with the library's own words.
pub(crate) fn refused(doing: &str, kept: Kept, error: DeltaTableError) -> Failure {
    let help = match is_full(&error) {
        true => "make room on the disk and run the command again",
        false => {
            "is this a workspace that `bractline init` made? `bractline store verify` says more"
        }
    };
    Failure::because(
        Kind::Store,
        format!("cannot {doing} the table {}", kept.name()),
        error,
    )
    .mend(help)
}

/// Whether the disk was full, as far as the library says why.
fn is_full(error: &DeltaTableError) -> bool {
    let first: &(dyn std::error::Error + 'static) = error;
    std::iter::successors(Some(first), |error| error.source()).any(|error| {
        let of_system = error.downcast_ref::<std::io::Error>();
        of_system.is_some_and(|error| error.kind() == std::io::ErrorKind::StorageFull)
    })
}
