//! An object store that takes the SHA-256 of every data file as its bytes pass, for the log to keep: a file
//! that was torn or changed afterwards is recognized by it.

use std::collections::HashMap;
use std::sync::{Arc, Mutex, PoisonError};

use async_trait::async_trait;
use futures::stream::BoxStream;
use object_store::path::Path;
use object_store::{
    CopyOptions, GetOptions, GetResult, ListResult, MultipartUpload, ObjectMeta, ObjectStore,
    PutMultipartOptions, PutOptions, PutPayload, PutResult, RenameOptions, Result, UploadPart,
};
use sha2::{Digest, Sha256};

/// The tag under which a log entry keeps the SHA-256 of a data file, hexadecimal.
pub(crate) const SHA256_TAG: &str = "bractline.sha256";

/// Files, and the hashes of those that were written through here.
#[derive(Debug, Clone)]
pub(crate) struct HashedFiles {
    files: Arc<dyn ObjectStore>,
    written: Hashes,
}

/// SHA-256 of the data files that were written and not asked after yet, by their plain names.
#[derive(Debug, Clone, Default)]
struct Hashes(Arc<Mutex<HashMap<String, String>>>);

impl HashedFiles {
    pub(crate) fn over(files: Arc<dyn ObjectStore>) -> HashedFiles {
        HashedFiles {
            files,
            written: Hashes::default(),
        }
    }

    /// SHA-256 of a data file that was written through here, hexadecimal; it is given out once.
    pub(crate) fn take_sha256(&self, file_name: &str) -> Option<String> {
        let written = &self.written.0;
        let mut written = written.lock().unwrap_or_else(PoisonError::into_inner);
        written.remove(file_name)
    }
}

impl Hashes {
    fn keep(&self, location: &Path, digest: Sha256) {
        let name = location.filename().unwrap_or_default();
        // Names of data files are unique; of log entries nobody asks.
        if name.ends_with(".parquet") {
            let mut written = self.0.lock().unwrap_or_else(PoisonError::into_inner);
            written.insert(name.to_owned(), format!("{:x}", digest.finalize()));
        }
    }
}

impl std::fmt::Display for HashedFiles {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(f, "{} with hashes", self.files)
    }
}

#[async_trait]
impl ObjectStore for HashedFiles {
    async fn put_opts(
        &self,
        location: &Path,
        payload: PutPayload,
        options: PutOptions,
    ) -> Result<PutResult> {
        let digest = payload.iter().fold(Sha256::new(), Digest::chain_update);
        let result = self.files.put_opts(location, payload, options).await?;
        self.written.keep(location, digest);
        Ok(result)
    }

    async fn put_multipart_opts(
        &self,
        location: &Path,
        options: PutMultipartOptions,
    ) -> Result<Box<dyn MultipartUpload>> {
        Ok(Box::new(HashedUpload {
            upload: self.files.put_multipart_opts(location, options).await?,
            written: self.written.clone(),
            location: location.clone(),
            digest: Sha256::new(),
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
        self.files.copy_opts(from, to, options).await
    }

    async fn rename_opts(&self, from: &Path, to: &Path, options: RenameOptions) -> Result<()> {
        self.files.rename_opts(from, to, options).await
    }
}

/// An upload in parts.
#[derive(Debug)]
struct HashedUpload {
    upload: Box<dyn MultipartUpload>,
    written: Hashes,
    location: Path,
    /// Of the parts so far, which are handed over in their order.
    digest: Sha256,
}

#[async_trait]
impl MultipartUpload for HashedUpload {
    fn put_part(&mut self, data: PutPayload) -> UploadPart {
        for piece in data.iter() {
            self.digest.update(piece);
        }
        self.upload.put_part(data)
    }

    async fn complete(&mut self) -> Result<PutResult> {
        let result = self.upload.complete().await?;
        let digest = std::mem::take(&mut self.digest);
        self.written.keep(&self.location, digest);
        Ok(result)
    }

    async fn abort(&mut self) -> Result<()> {
        self.upload.abort().await
    }
}
