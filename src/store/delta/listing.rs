//! Every file of a table's folder, those under names that a killed command left among them.
//!
//! On the disk the folder itself is listed: the object store of the disk passes over the names under which
//! it writes. In a bucket an upload that was broken off has no name; its keeper drops the parts by a rule of
//! the bucket.

use std::path::Path as FilePath;

use futures::TryStreamExt;
use jiff::Timestamp;
use object_store::path::Path;
use object_store::{Error, ObjectStore, ObjectStoreExt};

use crate::delta::tables::Store;
use crate::rows::schema::Kept;
use scouting::failure::{Failure, Kind};

/// A file of a table's folder.
#[derive(Debug)]
pub(crate) struct Listed {
    /// Its path within the folder, with `/`.
    pub(crate) within: String,
    /// Its size.
    pub(crate) bytes: u64,
    /// When it was last written, where that is known.
    pub(crate) written: Option<Timestamp>,
}

/// Every plain file under a table's folder, in the order of their paths; links are not followed.
pub(crate) async fn every_file(store: &Store, kept: Kept) -> Result<Vec<Listed>, Failure> {
    let mut files = match store.disk_folder_of(kept) {
        Some(folder) => on_the_disk(&folder)?,
        None => in_the_bucket(store, kept).await?,
    };
    files.sort_by(|one, other| one.within.cmp(&other.within));
    Ok(files)
}

/// Removes a file; that somebody else was quicker is no error.
pub(crate) async fn remove_file(store: &Store, kept: Kept, file: &Listed) -> Result<(), Failure> {
    match store.disk_folder_of(kept) {
        Some(folder) => {
            let path = folder.join(&file.within);
            match std::fs::remove_file(&path) {
                Err(error) if error.kind() != std::io::ErrorKind::NotFound => {
                    Err(Failure::file("remove", &path, error))
                }
                _ => Ok(()),
            }
        }
        None => {
            let path = store.folder_of(kept);
            let within = Path::from(file.within.as_str());
            let path: Path = path.parts().chain(within.parts()).collect();
            match store.files().delete(&path).await {
                Ok(()) | Err(Error::NotFound { .. }) => Ok(()),
                Err(error) => Err(refused("remove", &path, error)),
            }
        }
    }
}

fn on_the_disk(folder: &FilePath) -> Result<Vec<Listed>, Failure> {
    let mut found = Vec::new();
    let mut folders = vec![folder.to_owned()];
    while let Some(next) = folders.pop() {
        let unlisted = |error: std::io::Error| Failure::file("list", &next, error);
        for entry in std::fs::read_dir(&next).map_err(unlisted)? {
            let entry = entry.map_err(unlisted)?;
            let kind = entry.file_type().map_err(unlisted)?;
            if kind.is_dir() {
                folders.push(entry.path());
            } else if kind.is_file() {
                // One that is gone meanwhile was somebody's staged file.
                if let Ok(metadata) = entry.metadata() {
                    let written = metadata.modified().ok();
                    found.push(Listed {
                        within: within(folder, &entry.path()),
                        bytes: metadata.len(),
                        written: written.and_then(|written| written.try_into().ok()),
                    });
                }
            }
        }
    }
    Ok(found)
}

fn within(folder: &FilePath, path: &FilePath) -> String {
    let within = path.strip_prefix(folder).unwrap_or(path);
    let steps = within
        .components()
        .map(|step| step.as_os_str().to_string_lossy());
    steps.collect::<Vec<_>>().join("/")
}

async fn in_the_bucket(store: &Store, kept: Kept) -> Result<Vec<Listed>, Failure> {
    let folder = store.folder_of(kept);
    let files = store.files();
    let listed = files.list(Some(&folder)).try_collect::<Vec<_>>().await;
    let listed = listed.map_err(|error| refused("list", &folder, error))?;
    let listed = listed.into_iter().map(|file| {
        let steps = file.location.prefix_match(&folder);
        let steps: Vec<String> = (steps.into_iter().flatten())
            .map(|step| step.as_ref().to_owned())
            .collect();
        Listed {
            within: steps.join("/"),
            bytes: file.size,
            written: Timestamp::from_millisecond(file.last_modified.timestamp_millis()).ok(),
        }
    });
    Ok(listed.collect())
}

fn refused(doing: &str, path: &Path, error: Error) -> Failure {
    Failure::because(Kind::Store, format!("cannot {doing} {path}"), error)
        .mend("is the bucket there, and do the keys of the environment allow it?")
}
