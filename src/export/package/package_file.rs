//! A file of a package, and what every writer of one uses: its hash, a text on one line, the failure to make it.

use sha2::{Digest, Sha256};

use crate::shared::unseen::plain_text;
use scouting::failure::{Failure, Kind};

/// A file of a package.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct PackageFile {
    /// Its plain name.
    pub name: String,
    /// What it is.
    pub about: String,
    /// What is in it.
    pub bytes: Vec<u8>,
    /// The texts within it, where it is packed: name and bytes.
    pub within: Vec<(String, Vec<u8>)>,
}

impl PackageFile {
    pub(super) fn new(
        name: impl Into<String>,
        about: impl Into<String>,
        bytes: Vec<u8>,
    ) -> PackageFile {
        PackageFile {
            name: name.into(),
            about: about.into(),
            bytes,
            within: Vec::new(),
        }
    }
}

/// SHA-256, hexadecimal.
pub(super) fn sha256_of(bytes: &[u8]) -> String {
    let hash = Sha256::digest(bytes);
    hash.iter().map(|byte| format!("{byte:02x}")).collect()
}

/// A text of other people on one line, without what is not seen.
pub(super) fn one_line(text: &str) -> String {
    let words: Vec<&str> = text.split_whitespace().collect();
    plain_text(&words.join(" "))
}

/// That a file of the package cannot be made.
pub(super) fn unmade(error: &dyn std::fmt::Display) -> Failure {
    Failure::new(Kind::Publish, format!("cannot make the package: {error}"))
}
