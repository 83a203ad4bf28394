//! A file of a package, and what every writer of one uses: a text on one line, the failure to make it.

use crate::shared::unseen::plain_text;
use scouting::failure::{Cause, Failure, Kind};

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

/// A text of other people on one line, without what is not seen.
pub(super) fn one_line(text: &str) -> String {
    let words: Vec<&str> = text.split_whitespace().collect();
    plain_text(&words.join(" "))
}

/// That a file of the package cannot be made.
pub(super) fn unmade(error: impl Into<Cause>) -> Failure {
    Failure::because(Kind::Publish, "cannot make the package", error)
}
