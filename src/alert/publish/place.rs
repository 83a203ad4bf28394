//! A public place: a folder, or a prefix of a bucket, that issued alerts are copied to.
//!
//! Puts files there one by one, each whole or not at all. Whether a file may be seen was decided before.
//! Below the folder that was named no link is followed: what is published lands there or nowhere.

use std::io::ErrorKind;
use std::path::{Path as FilePath, PathBuf};

use bytes::Bytes;
use object_store::path::Path;
use object_store::{
    Attribute, Attributes, Error, ObjectStore, ObjectStoreExt, ObjectStoreScheme, PutMode,
    PutOptions,
};
use url::Url;

use scouting::failure::{Cause, Failure, Kind};

/// A public place.
pub(crate) struct Place {
    files: Box<dyn ObjectStore>,
    prefix: Path,
    /// The folder, where the place is one.
    folder: Option<PathBuf>,
    shown: String,
    /// A bucket keeps what kind of file it is; a folder does not.
    keeps_types: bool,
}

/// A file on its way: its name at the public place, and its bytes.
pub(crate) type PublicFile = (String, Vec<u8>);

/// What putting a file came to.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Put {
    /// It was written.
    Written,
    /// It was there, byte for byte.
    Unchanged,
}

impl Place {
    /// A folder by its path, or a place by its address: `file:///srv/alerts`, `s3://bucket/alerts`.
    /// `options` are those of the bucket's keeper, such as `AWS_REGION`.
    ///
    /// # Errors
    /// A [`Failure`] if there is no such kind of place, or the folder cannot be made.
    pub(crate) fn open(to: &str, options: Vec<(String, String)>) -> Result<Place, Failure> {
        let url = match Url::parse(to) {
            Ok(url) if to.contains("://") => url,
            _ => folder_url(FilePath::new(to))?,
        };
        let refused = |error: Cause| {
            Failure::because(Kind::Publish, format!("cannot publish to {to}"), error)
                .mend("name a folder, or s3://bucket/prefix with AWS_REGION and its keys in the environment")
        };
        let (scheme, _) = ObjectStoreScheme::parse(&url).map_err(|error| refused(error.into()))?;
        let folder = match scheme {
            ObjectStoreScheme::Local => {
                let folder = url
                    .to_file_path()
                    .map_err(|()| refused("it is no folder".into()))?;
                std::fs::create_dir_all(&folder)
                    .map_err(|error| Failure::file("make folder", &folder, error))?;
                Some(folder)
            }
            ObjectStoreScheme::AmazonS3 => None,
            _ => return Err(refused("only folders and s3:// are known".into())),
        };
        let (files, prefix) =
            object_store::parse_url_opts(&url, options).map_err(|error| refused(error.into()))?;
        Ok(Place {
            files,
            prefix,
            folder,
            shown: to.trim_end_matches('/').to_owned(),
            keeps_types: scheme == ObjectStoreScheme::AmazonS3,
        })
    }

    /// Puts a file that never changes; one of that name with other content is left as it is.
    ///
    /// # Errors
    /// A [`Failure`] if the place refuses it, or has another file of that name.
    pub(crate) async fn put_frozen(&self, name: &str, bytes: Vec<u8>) -> Result<Put, Failure> {
        let bytes = Bytes::from(bytes);
        if self.is_there(name, &bytes, true).await? {
            return Ok(Put::Unchanged);
        }
        self.check_way(name)?;
        match self.put(name, bytes.clone(), PutMode::Create).await {
            // Somebody else publishes at the same time.
            Err(Error::AlreadyExists { .. } | Error::Precondition { .. }) => {
                self.is_there(name, &bytes, true).await?;
                Ok(Put::Unchanged)
            }
            Err(error) => Err(self.refused("write", name, error)),
            Ok(()) => Ok(Put::Written),
        }
    }

    /// Puts a file that changes in one part alone: one of that name which differs in more is left as it is.
    /// `fixed` gives what never changes.
    ///
    /// # Errors
    /// As [`Place::put_frozen`].
    pub(crate) async fn put_frozen_but(
        &self,
        name: &str,
        bytes: Vec<u8>,
        fixed: impl Fn(&[u8]) -> Vec<u8>,
    ) -> Result<Put, Failure> {
        match self.found(name).await? {
            None => self.put_frozen(name, bytes).await,
            Some(found) if *found == *bytes => Ok(Put::Unchanged),
            Some(found) if fixed(&found) == fixed(&bytes) => self.put_renewed(name, bytes).await,
            Some(_) => Err(self.changed(name)),
        }
    }

    /// Puts a file in the place of its earlier state.
    ///
    /// # Errors
    /// A [`Failure`] if the place refuses it.
    pub(crate) async fn put_renewed(&self, name: &str, bytes: Vec<u8>) -> Result<Put, Failure> {
        let bytes = Bytes::from(bytes);
        if self.is_there(name, &bytes, false).await? {
            return Ok(Put::Unchanged);
        }
        self.check_way(name)?;
        let put = self.put(name, bytes, PutMode::Overwrite).await;
        put.map_err(|error| self.refused("write", name, error))?;
        Ok(Put::Written)
    }

    /// Removes a file; that there is none is as good. True if there was one.
    ///
    /// # Errors
    /// A [`Failure`] if the place refuses it.
    pub(crate) async fn remove(&self, name: &str) -> Result<bool, Failure> {
        match self.files.delete(&self.path(name)).await {
            Ok(()) => Ok(true),
            Err(Error::NotFound { .. }) => Ok(false),
            Err(error) => Err(self.refused("remove", name, error)),
        }
    }

    /// Whether exactly this is there; another content is a failure where `frozen`.
    async fn is_there(&self, name: &str, bytes: &Bytes, frozen: bool) -> Result<bool, Failure> {
        match self.found(name).await? {
            Some(found) if found == *bytes => Ok(true),
            Some(_) if frozen => Err(self.changed(name)),
            Some(_) | None => Ok(false),
        }
    }

    /// The file of this name, if there is one.
    async fn found(&self, name: &str) -> Result<Option<Bytes>, Failure> {
        self.check_way(name)?;
        let read = async { self.files.get(&self.path(name)).await?.bytes().await };
        match read.await {
            Ok(found) => Ok(Some(found)),
            Err(Error::NotFound { .. }) => Ok(None),
            Err(error) => Err(self.refused("read", name, error)),
        }
    }

    fn changed(&self, name: &str) -> Failure {
        Failure::new(
            Kind::Publish,
            format!(
                "{}/{name} is there already, with another content than was issued",
                self.shown
            ),
        )
        .mend("nothing was overwritten; find out who changed it, then remove it and publish again")
    }

    /// Whether every file of these names can be put there, as far as can be seen before the first is.
    ///
    /// # Errors
    /// A [`Failure`] if a link, or anything that is no folder or file, is in the way of one.
    pub(crate) fn check_ways<'a>(
        &self,
        names: impl Iterator<Item = &'a str>,
    ) -> Result<(), Failure> {
        for name in names {
            self.check_way(name)?;
        }
        Ok(())
    }

    /// Refuses a file whose path below the folder has a link, or anything else that is no folder or file: it would be
    /// read or written in another place, or wait for ever. Looked at right before each use.
    fn check_way(&self, name: &str) -> Result<(), Failure> {
        let Some(folder) = &self.folder else {
            return Ok(());
        };
        let mut way = folder.clone();
        let mut steps = name.split('/').peekable();
        while let Some(step) = steps.next() {
            way.push(step);
            let found = match way.symlink_metadata() {
                Ok(metadata) => metadata.file_type(),
                // Nothing there: nothing below it either.
                Err(error) if error.kind() == ErrorKind::NotFound => return Ok(()),
                Err(error) => return Err(Failure::file("look at", &way, error)),
            };
            let is_last = steps.peek().is_none();
            let what = match is_last {
                _ if found.is_symlink() => "a link, which publishing does not follow",
                true if !found.is_file() => "no regular file",
                false if !found.is_dir() => "no folder",
                _ => continue,
            };
            return Err(Failure::new(
                Kind::Publish,
                format!("cannot publish {name}: {} is {what}", way.display()),
            )
            .mend("find out who put it there, remove it and publish again; the folder named with --to may be a link itself"));
        }
        Ok(())
    }

    async fn put(&self, name: &str, bytes: Bytes, mode: PutMode) -> Result<(), Error> {
        let is_frozen = mode == PutMode::Create;
        let mut options = PutOptions::from(mode);
        if self.keeps_types {
            options.attributes = Attributes::from_iter([
                (Attribute::ContentType, content_type(name)),
                (Attribute::CacheControl, cache_control(name, is_frozen)),
            ]);
        }
        self.files
            .put_opts(&self.path(name), bytes.into(), options)
            .await?;
        Ok(())
    }

    fn path(&self, name: &str) -> Path {
        let steps = name.split('/').map(Into::into);
        self.prefix.parts().chain(steps).collect()
    }

    fn refused(&self, doing: &str, name: &str, error: Error) -> Failure {
        Failure::because(
            Kind::Publish,
            format!("cannot {doing} {}/{name}", self.shown),
            error,
        )
        .mend("publish again: what is there already is not written twice")
    }
}

fn folder_url(folder: &FilePath) -> Result<Url, Failure> {
    let folder: PathBuf =
        std::path::absolute(folder).map_err(|error| Failure::file("find", folder, error))?;
    Url::from_directory_path(&folder)
        .map_err(|()| Failure::new(Kind::Publish, format!("{} is no folder", folder.display())))
}

/// How long a browser may keep a file without asking (RFC 9111): a page may get a banner, and a withdrawn alert goes.
fn cache_control(name: &str, is_frozen: bool) -> &'static str {
    match is_frozen && !name.ends_with(".html") {
        true => "max-age=3600",
        false => "no-cache",
    }
}

fn content_type(name: &str) -> &'static str {
    match name.rsplit('.').next() {
        Some("html") => "text/html; charset=utf-8",
        Some("md") => "text/markdown; charset=utf-8",
        Some("csv") => "text/csv; charset=utf-8",
        Some("geojson") => "application/geo+json",
        Some("json") => "application/json",
        Some("qml") => "application/xml",
        Some("xml") => "application/atom+xml; charset=utf-8",
        Some("parquet") => "application/vnd.apache.parquet",
        _ => "application/octet-stream",
    }
}
