//! A local object store that never shows a file before its content is on the disk.
//!
//! `object_store` 0.13 never calls fsync: when the power goes, a name could outlive the bytes that
//! it represents, and a log entry of zero bytes makes a Delta table unreadable. This wrapper writes
//! every file under another name next to its place, syncs it, gives it its name, and syncs every
//! folder from there up to the store's own. Delta writes data files before the log entry that names
//! them, so the order on the disk is: data file, its folder, log entry, log folder.

use std::fs::File;
use std::path::{Path as FilePath, PathBuf};
use std::sync::Arc;

use async_trait::async_trait;
use futures::stream::BoxStream;
use object_store::local::LocalFileSystem;
use object_store::path::Path;
use object_store::{
    CopyMode, CopyOptions, Error, GetOptions, GetResult, ListResult, MultipartUpload, ObjectMeta,
    ObjectStore, ObjectStoreExt, PutMode, PutMultipartOptions, PutOptions, PutPayload, PutResult,
    RenameOptions, RenameTargetMode, Result, UploadPart,
};
use uuid::Uuid;

/// What a file is called that has not its name yet; readers of a Delta table pass over it.
pub(crate) const STAGED_START: &str = "_staged-";
pub(crate) const STAGED_END: &str = ".tmp";

/// A local file system whose files are whole or not there, whatever happens to the machine.
#[derive(Debug, Clone)]
pub(crate) struct DurableFiles {
    files: Arc<LocalFileSystem>,
    root: PathBuf,
}

impl DurableFiles {
    /// Wraps the local file system; folders are synced up to and including `root`.
    pub(crate) fn new(root: PathBuf) -> Self {
        DurableFiles {
            files: Arc::new(LocalFileSystem::new()),
            root,
        }
    }

    /// Syncs a file that was written under a staged name and gives it its own.
    async fn publish(&self, staged: &Path, location: &Path, mode: RenameTargetMode) -> Result<()> {
        let named = self.sync_and_name(staged, location, mode).await;
        if named.is_err() {
            // Best effort: what has no name is of no use, and is in nobody's way.
            let _ = self.files.delete(staged).await;
        }
        named?;
        self.sync_folders(location).await
    }

    async fn sync_and_name(
        &self,
        staged: &Path,
        location: &Path,
        mode: RenameTargetMode,
    ) -> Result<()> {
        let path = self.files.path_to_filesystem(staged)?;
        on_a_thread(move || sync_one(&path)).await?;
        match mode {
            RenameTargetMode::Overwrite => self.files.rename(staged, location).await,
            RenameTargetMode::Create => {
                // A link fails where a name is taken, so of two writers one wins.
                let options = CopyOptions::new().with_mode(CopyMode::Create);
                self.files.copy_opts(staged, location, options).await?;
                self.files.delete(staged).await
            }
        }
    }

    /// Syncs each folder above a file, up to and including the root.
    async fn sync_folders(&self, location: &Path) -> Result<()> {
        let path = self.files.path_to_filesystem(location)?;
        let root = self.root.clone();
        on_a_thread(move || {
            path.ancestors()
                .skip(1)
                .take_while(|folder| folder.starts_with(&root))
                .try_for_each(sync_one)
        })
        .await
    }
}

/// A name next to a file's own that readers of a Delta table pass over.
fn staged_beside(location: &Path) -> Path {
    let name = format!("{STAGED_START}{}{STAGED_END}", Uuid::now_v7());
    let mut steps: Vec<_> = location.parts().collect();
    steps.pop();
    steps.into_iter().chain([name.into()]).collect()
}

/// Disk work off the threads that drive everything else.
async fn on_a_thread(work: impl FnOnce() -> Result<()> + Send + 'static) -> Result<()> {
    tokio::task::spawn_blocking(work).await?
}

fn sync_one(path: &FilePath) -> Result<()> {
    File::open(path)
        .and_then(|file| file.sync_all())
        .map_err(|source| Error::Generic {
            store: "local disk",
            // Of the same kind, so that a full disk is known to be one.
            source: std::io::Error::new(
                source.kind(),
                format!("cannot sync {}: {source}", path.display()),
            )
            .into(),
        })
}

impl std::fmt::Display for DurableFiles {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(f, "durable files under {}", self.root.display())
    }
}

#[async_trait]
impl ObjectStore for DurableFiles {
    async fn put_opts(
        &self,
        location: &Path,
        payload: PutPayload,
        mut options: PutOptions,
    ) -> Result<PutResult> {
        let mode = match std::mem::replace(&mut options.mode, PutMode::Overwrite) {
            PutMode::Overwrite => RenameTargetMode::Overwrite,
            PutMode::Create => RenameTargetMode::Create,
            // The local file system refuses it, in its own words.
            update @ PutMode::Update(_) => {
                options.mode = update;
                return self.files.put_opts(location, payload, options).await;
            }
        };
        let staged = staged_beside(location);
        let result = self.files.put_opts(&staged, payload, options).await?;
        self.publish(&staged, location, mode).await?;
        Ok(result)
    }

    async fn put_multipart_opts(
        &self,
        location: &Path,
        options: PutMultipartOptions,
    ) -> Result<Box<dyn MultipartUpload>> {
        let staged = staged_beside(location);
        Ok(Box::new(DurableUpload {
            upload: self.files.put_multipart_opts(&staged, options).await?,
            files: self.clone(),
            staged,
            location: location.clone(),
        }))
    }

    async fn get_opts(&self, location: &Path, options: GetOptions) -> Result<GetResult> {
        self.files.get_opts(location, options).await
    }

    fn delete_stream(
        &self,
        locations: BoxStream<'static, Result<Path>>,
    ) -> BoxStream<'static, Result<Path>> {
        self.files.delete_stream(locations)
    }

    fn list(&self, prefix: Option<&Path>) -> BoxStream<'static, Result<ObjectMeta>> {
        self.files.list(prefix)
    }

    async fn list_with_delimiter(&self, prefix: Option<&Path>) -> Result<ListResult> {
        self.files.list_with_delimiter(prefix).await
    }

    async fn copy_opts(&self, from: &Path, to: &Path, options: CopyOptions) -> Result<()> {
        self.files.copy_opts(from, to, options).await?;
        self.sync_folders(to).await
    }

    async fn rename_opts(&self, from: &Path, to: &Path, options: RenameOptions) -> Result<()> {
        self.files.rename_opts(from, to, options).await?;
        self.sync_folders(to).await
    }
}

/// An upload in parts whose file gets its name when it is complete and on the disk.
#[derive(Debug)]
struct DurableUpload {
    upload: Box<dyn MultipartUpload>,
    files: DurableFiles,
    staged: Path,
    location: Path,
}

#[async_trait]
impl MultipartUpload for DurableUpload {
    fn put_part(&mut self, data: PutPayload) -> UploadPart {
        self.upload.put_part(data)
    }

    async fn complete(&mut self) -> Result<PutResult> {
        let result = self.upload.complete().await?;
        self.files
            .publish(&self.staged, &self.location, RenameTargetMode::Overwrite)
            .await?;
        Ok(result)
    }

    async fn abort(&mut self) -> Result<()> {
        self.upload.abort().await
    }
}
