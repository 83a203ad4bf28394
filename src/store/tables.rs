//! Making and opening the Delta tables of a workspace.

use std::path::{Path, PathBuf};
use std::sync::Arc;

use deltalake::kernel::StructType;
use deltalake::kernel::engine::arrow_conversion::TryIntoKernel;
use deltalake::protocol::SaveMode;
use deltalake::{DeltaTable, DeltaTableBuilder, DeltaTableError, ObjectStore};
use url::Url;

use super::alerts::ALERTS;
use super::durable::DurableFiles;
use super::schema::{Column, HELD, HELD_CLOSED, RECEIPTS, UNITS, VISITS, arrow_schema};
use crate::failure::{Failure, Kind};

/// Commits between two checkpoints: opening a table reads at most so many log entries.
const CHECKPOINT_INTERVAL: &str = "50";

/// One of the kept tables.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
#[allow(missing_docs)]
pub enum Kept {
    Visits,
    Units,
    Held,
    HeldClosed,
    Receipts,
    Alerts,
}

impl Kept {
    /// Every kept table.
    pub const ALL: [Kept; 6] = [
        Kept::Visits,
        Kept::Units,
        Kept::Held,
        Kept::HeldClosed,
        Kept::Receipts,
        Kept::Alerts,
    ];

    /// Name of the table and of its folder.
    pub fn name(self) -> &'static str {
        match self {
            Kept::Visits => "visits",
            Kept::Units => "units",
            Kept::Held => "held",
            Kept::HeldClosed => "held_closed",
            Kept::Receipts => "receipts",
            Kept::Alerts => "alerts",
        }
    }

    /// Its columns.
    pub fn columns(self) -> &'static [Column] {
        match self {
            Kept::Visits => VISITS,
            Kept::Units => UNITS,
            Kept::Held => HELD,
            Kept::HeldClosed => HELD_CLOSED,
            Kept::Receipts => RECEIPTS,
            Kept::Alerts => ALERTS,
        }
    }

    /// The columns that its files are sorted into folders by.
    pub fn partition_columns(self) -> Vec<String> {
        match self {
            Kept::Visits | Kept::Units => vec!["season".to_owned()],
            Kept::Held | Kept::HeldClosed | Kept::Receipts | Kept::Alerts => Vec::new(),
        }
    }
}

/// The folder of the kept tables.
#[derive(Debug, Clone)]
pub struct Store {
    folder: PathBuf,
    files: Arc<DurableFiles>,
}

impl Store {
    /// Makes the tables in an existing, empty folder.
    pub async fn create(folder: &Path) -> Result<Store, Failure> {
        let store = Store::at(folder)?;
        for kept in Kept::ALL {
            store
                .create_table(kept)
                .await
                .map_err(|error| refused("make", kept, &error))?;
        }
        Ok(store)
    }

    /// Opens the folder of a workspace's tables.
    pub async fn open(folder: &Path) -> Result<Store, Failure> {
        let store = Store::at(folder)?;
        store.table(Kept::Receipts).await?;
        Ok(store)
    }

    fn at(folder: &Path) -> Result<Store, Failure> {
        let folder =
            std::path::absolute(folder).map_err(|error| Failure::file("find", folder, &error))?;
        // The workspace's own folder is synced as well: it holds the store's name.
        let root = folder.parent().unwrap_or(&folder).to_path_buf();
        Ok(Store {
            files: Arc::new(DurableFiles::new(root)),
            folder,
        })
    }

    /// The folder of a workspace's tables, whatever state they are in.
    pub fn unopened(folder: &Path) -> Result<Store, Failure> {
        Store::at(folder)
    }

    /// What the tables are written through.
    pub(super) fn files(&self) -> Arc<DurableFiles> {
        self.files.clone()
    }

    /// The folder of a table.
    pub(super) fn folder_of(&self, kept: Kept) -> PathBuf {
        self.folder.join(kept.name())
    }

    /// The folder of the tables.
    pub fn folder(&self) -> &Path {
        &self.folder
    }

    /// Opens a table at its newest version.
    pub async fn table(&self, kept: Kept) -> Result<DeltaTable, Failure> {
        let opened = async { self.builder(kept)?.load().await };
        opened.await.map_err(|error| refused("open", kept, &error))
    }

    /// Opens a table at a version that it had.
    pub async fn table_at(&self, kept: Kept, version: i64) -> Result<DeltaTable, Failure> {
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
        opened.await.map_err(|error| refused("open", kept, &error))
    }

    /// Whether a table is there: a store that an earlier version made may lack one.
    pub fn has(&self, kept: Kept) -> bool {
        self.folder.join(kept.name()).join("_delta_log").is_dir()
    }

    /// Opens a table at its newest version; one that an older store lacks is made first.
    pub async fn table_or_made(&self, kept: Kept) -> Result<DeltaTable, Failure> {
        if !self.has(kept) {
            let made = self.create_table(kept).await;
            // Of two that make it at once one may be refused: what counts is that it is there.
            return match (self.table(kept).await, made) {
                (Err(_), Err(error)) => Err(refused("make", kept, &error)),
                (opened, _) => opened,
            };
        }
        self.table(kept).await
    }

    async fn create_table(&self, kept: Kept) -> Result<(), DeltaTableError> {
        let folder = self.folder.join(kept.name());
        std::fs::create_dir_all(&folder)?;
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
        let folder = self.folder.join(kept.name());
        let url = Url::from_directory_path(&folder)
            .map_err(|()| DeltaTableError::InvalidTableLocation(folder.display().to_string()))?;
        let files: Arc<dyn ObjectStore> = self.files.clone();
        Ok(DeltaTableBuilder::from_url(url.clone())?.with_storage_backend(files, url))
    }
}

/// A table that could not be made, opened, read or written, with the library's own words.
pub(super) fn refused(doing: &str, kept: Kept, error: &DeltaTableError) -> Failure {
    Failure::new(
        Kind::Store,
        format!("cannot {doing} the table {}: {error}", kept.name()),
    )
    .mend("is this a workspace that `bractline init` made? `bractline store verify` says more")
}
