//! A local object store whose writes are on the disk when they return.
//!
//! `object_store` 0.13 never calls fsync, so a commit could outlive the data that it names when the
//! power goes. This wrapper syncs each file that it has written and then every folder from the
//! file up to the store's own. Delta writes data files before the log entry that names them, so the
//! order on the disk is: data file, its folder, log entry, log folder.

use std::fs::File;
use std::path::{Path as FilePath, PathBuf};

use async_trait::async_trait;
use futures::stream::BoxStream;
use object_store::local::LocalFileSystem;
use object_store::path::Path;
use object_store::{
    CopyOptions, Error, GetOptions, GetResult, ListResult, MultipartUpload, ObjectMeta,
    ObjectStore, PutMultipartOptions, PutOptions, PutPayload, PutResult, RenameOptions, Result,
    UploadPart,
};

/// A local file system that syncs what it writes.
#[derive(Debug)]
pub struct DurableFiles {
    files: LocalFileSystem,
    root: PathBuf,
}

impl DurableFiles {
    /// Wraps the local file system; folders are synced up to and including `root`.
    pub fn new(root: PathBuf) -> Self {
        DurableFiles {
            files: LocalFileSystem::new(),
            root,
        }
    }

    async fn sync(&self, location: &Path) -> Result<()> {
        let path = self.files.path_to_filesystem(location)?;
        sync_up_to(path, self.root.clone()).await
    }
}

/// Syncs a file, then each folder above it up to and including `root`.
async fn sync_up_to(path: PathBuf, root: PathBuf) -> Result<()> {
    tokio::task::spawn_blocking(move || {
        sync_one(&path)?;
        let mut folder = path.parent();
        while let Some(place) = folder.filter(|place| place.starts_with(&root)) {
            sync_one(place)?;
            folder = place.parent();
        }
        Ok(())
    })
    .await?
}

fn sync_one(path: &FilePath) -> Result<()> {
    File::open(path)
        .and_then(|file| file.sync_all())
        .map_err(|source| Error::Generic {
            store: "local disk",
            source: format!("cannot sync {}: {source}", path.display()).into(),
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
        options: PutOptions,
    ) -> Result<PutResult> {
        let result = self.files.put_opts(location, payload, options).await?;
        self.sync(location).await?;
        Ok(result)
    }

    async fn put_multipart_opts(
        &self,
        location: &Path,
        options: PutMultipartOptions,
    ) -> Result<Box<dyn MultipartUpload>> {
        let upload = self.files.put_multipart_opts(location, options).await?;
        let path = self.files.path_to_filesystem(location)?;
        Ok(Box::new(DurableUpload {
            upload,
            path,
            root: self.root.clone(),
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
        self.sync(to).await
    }

    async fn rename_opts(&self, from: &Path, to: &Path, options: RenameOptions) -> Result<()> {
        self.files.rename_opts(from, to, options).await?;
        self.sync(to).await
    }
}

/// An upload in parts whose file is synced when it is complete.
#[derive(Debug)]
struct DurableUpload {
    upload: Box<dyn MultipartUpload>,
    path: PathBuf,
    root: PathBuf,
}

#[async_trait]
impl MultipartUpload for DurableUpload {
    fn put_part(&mut self, data: PutPayload) -> UploadPart {
        self.upload.put_part(data)
    }

    async fn complete(&mut self) -> Result<PutResult> {
        let result = self.upload.complete().await?;
        sync_up_to(self.path.clone(), self.root.clone()).await?;
        Ok(result)
    }

    async fn abort(&mut self) -> Result<()> {
        self.upload.abort().await
    }
}
