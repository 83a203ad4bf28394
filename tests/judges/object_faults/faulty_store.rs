//! An object store that fails or is slow at its n-th call.

use std::sync::Arc;
use std::sync::atomic::{AtomicUsize, Ordering};
use std::time::Duration;

use async_trait::async_trait;
use futures::StreamExt;
use futures::stream::BoxStream;
use object_store::path::Path;
use object_store::{
    CopyOptions, Error, GetOptions, GetResult, ListResult, MultipartUpload, ObjectMeta,
    ObjectStore, PutMultipartOptions, PutOptions, PutPayload, PutResult, RenameOptions, Result,
    UploadPart,
};

/// What the store says when it fails.
pub const WORD: &str = "the store of the test went away";

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Call {
    Read,
    Write,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum How {
    /// Nothing is done, and an error is reported.
    Before,
    /// It is done, and an error is reported all the same.
    After,
    /// It is done, late.
    Late,
    /// It is done.
    Never,
}

/// At which call, counted from 1, what happens.
#[derive(Debug, Clone, Copy)]
pub struct Fault {
    pub call: Call,
    pub number: usize,
    pub how: How,
}

#[derive(Debug, Clone)]
pub struct Faulty {
    pub files: Arc<dyn ObjectStore>,
    pub fault: Fault,
    pub reads: Arc<AtomicUsize>,
    pub writes: Arc<AtomicUsize>,
}

impl std::fmt::Display for Faulty {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(f, "faulty {}", self.files)
    }
}

fn gone() -> Error {
    Error::Generic {
        store: "test",
        source: WORD.into(),
    }
}

impl Faulty {
    /// Counts a call; what becomes of it.
    fn due(&self, call: Call) -> How {
        let seen = match call {
            Call::Read => &self.reads,
            Call::Write => &self.writes,
        };
        let number = seen.fetch_add(1, Ordering::SeqCst) + 1;
        match call == self.fault.call && number == self.fault.number {
            true => self.fault.how,
            false => How::Never,
        }
    }

    async fn meet<T>(&self, call: Call, work: impl Future<Output = Result<T>>) -> Result<T> {
        match self.due(call) {
            How::Before => Err(gone()),
            How::After => {
                work.await?;
                Err(gone())
            }
            How::Late => {
                tokio::time::sleep(Duration::from_millis(400)).await;
                work.await
            }
            How::Never => work.await,
        }
    }
}

#[async_trait]
impl ObjectStore for Faulty {
    async fn put_opts(
        &self,
        location: &Path,
        payload: PutPayload,
        options: PutOptions,
    ) -> Result<PutResult> {
        let work = self.files.put_opts(location, payload, options);
        self.meet(Call::Write, work).await
    }

    async fn put_multipart_opts(
        &self,
        location: &Path,
        options: PutMultipartOptions,
    ) -> Result<Box<dyn MultipartUpload>> {
        let work = self.files.put_multipart_opts(location, options);
        Ok(Box::new(FaultyUpload {
            upload: self.meet(Call::Write, work).await?,
            store: self.clone(),
        }))
    }

    async fn get_opts(&self, location: &Path, options: GetOptions) -> Result<GetResult> {
        self.meet(Call::Read, self.files.get_opts(location, options))
            .await
    }

    fn delete_stream(
        &self,
        locations: BoxStream<'static, Result<Path>>,
    ) -> BoxStream<'static, Result<Path>> {
        let deleted = self.files.delete_stream(locations);
        match self.due(Call::Write) {
            How::Before => futures::stream::once(async { Err(gone()) }).boxed(),
            How::After => deleted.map(|_| Err(gone())).boxed(),
            How::Late | How::Never => deleted,
        }
    }

    fn list(&self, prefix: Option<&Path>) -> BoxStream<'static, Result<ObjectMeta>> {
        match self.due(Call::Read) {
            How::Before | How::After => futures::stream::once(async { Err(gone()) }).boxed(),
            How::Late | How::Never => self.files.list(prefix),
        }
    }

    async fn list_with_delimiter(&self, prefix: Option<&Path>) -> Result<ListResult> {
        self.meet(Call::Read, self.files.list_with_delimiter(prefix))
            .await
    }

    async fn copy_opts(&self, from: &Path, to: &Path, options: CopyOptions) -> Result<()> {
        let work = self.files.copy_opts(from, to, options);
        self.meet(Call::Write, work).await
    }

    async fn rename_opts(&self, from: &Path, to: &Path, options: RenameOptions) -> Result<()> {
        let work = self.files.rename_opts(from, to, options);
        self.meet(Call::Write, work).await
    }
}

#[derive(Debug)]
struct FaultyUpload {
    upload: Box<dyn MultipartUpload>,
    store: Faulty,
}

#[async_trait]
impl MultipartUpload for FaultyUpload {
    fn put_part(&mut self, data: PutPayload) -> UploadPart {
        let work = self.upload.put_part(data);
        let store = self.store.clone();
        Box::pin(async move { store.meet(Call::Write, work).await })
    }

    async fn complete(&mut self) -> Result<PutResult> {
        let store = self.store.clone();
        store.meet(Call::Write, self.upload.complete()).await
    }

    async fn abort(&mut self) -> Result<()> {
        self.upload.abort().await
    }
}
