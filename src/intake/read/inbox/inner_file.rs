//! A file found in an archive or in a mail, unpacked under a name of our own.

use std::path::PathBuf;

use scouting::failure::Failure;

/// A file in an archive or a mail.
#[derive(Debug)]
pub struct InnerFile {
    /// Its name there, with `/` between folders; it is shown, and never a path that is written to.
    pub name: String,
    /// What became of it.
    pub content: Content,
}

/// What became of a file in an archive or a mail.
#[derive(Debug)]
pub enum Content {
    /// Its bytes are in this file.
    Unpacked(PathBuf),
    /// It is the text that a person wrote in a mail.
    Letter,
    /// It is not unpacked, for a reason.
    Refused(Failure),
}

/// A name that somebody else gave, fit to be shown: `/` between folders, and nothing that moves what is around it.
pub(crate) fn shown_name(name: &str) -> String {
    let plain = |letter: char| match letter {
        '\\' => '/',
        letter if letter.is_control() => '\u{fffd}',
        letter => letter,
    };
    name.chars().map(plain).collect()
}
