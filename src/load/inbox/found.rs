//! A file that was named or found, and what it is.

use std::path::PathBuf;
use std::sync::Arc;

use intake::read::inbox::fitting_mapping::FolderMapping;
use intake::read::submitted::SubmittedFile;
use scouting::failure::Failure;

/// A file that was named, or found in a folder, an archive or a mail.
#[derive(Debug)]
pub(crate) struct Found {
    /// Its name for the account: its path within the folder that was named, else its own name.
    pub name: String,
    /// Its path within the folder that was named, an archive counted as a folder; empty for a file that was named itself.
    pub within: PathBuf,
    /// What it is.
    pub what: What,
}

/// What a file is.
#[derive(Debug)]
pub(crate) enum What {
    /// It is loaded.
    Submission {
        /// The file.
        file: SubmittedFile,
        /// The mappings of the nearest folder that has any.
        mappings: Arc<[FolderMapping]>,
    },
    /// It holds no records: what it is.
    PassedOver(String),
    /// It cannot be loaded.
    Refused(Failure),
}
