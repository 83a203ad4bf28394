//! The files of a folder and of the folders in it, in the order of their names.

use std::path::{Path, PathBuf};

use walkdir::{DirEntry, WalkDir};

use super::found::What;
use scouting::failure::{Failure, Kind};

/// Folders within folders.
const DEPTH_MAX: usize = 16;
/// Entries of a folder and of those in it.
const ENTRIES_MAX: usize = 100_000;

/// An entry of a folder: a file to be looked at, or what is known of it already.
pub(super) enum Walked {
    File(PathBuf),
    Known(PathBuf, What),
}

/// Lists a folder and the folders in it. Links are not followed; what is hidden is passed over.
///
/// # Errors
/// If the folder cannot be read, holds nothing, or more than is read.
pub(super) fn walk(folder: &Path) -> Result<Vec<Walked>, Failure> {
    let mut walked = Vec::new();
    let mut entries = WalkDir::new(folder)
        .min_depth(1)
        .max_depth(DEPTH_MAX + 1)
        .sort_by_file_name()
        .into_iter();
    let mut seen = 0;
    while let Some(entry) = entries.next() {
        let entry = match entry {
            Ok(entry) => entry,
            Err(error) if error.depth() == 0 => return Err(unreadable(folder, error)),
            Err(error) => {
                let path = error.path().unwrap_or(folder).to_owned();
                let refused = What::Refused(unreadable(&path, error));
                walked.push(Walked::Known(path, refused));
                continue;
            }
        };
        seen += 1;
        if seen > ENTRIES_MAX {
            return Err(Failure::new(
                Kind::Submission,
                format!(
                    "{} holds more than {ENTRIES_MAX} files and folders",
                    folder.display()
                ),
            )
            .mend("name a folder of it at a time"));
        }
        let known = known(&entry);
        match known {
            Some(what) => {
                if entry.file_type().is_dir() {
                    entries.skip_current_dir();
                }
                walked.push(Walked::Known(entry.into_path(), what));
            }
            None if entry.file_type().is_file() => walked.push(Walked::File(entry.into_path())),
            None => {}
        }
    }
    if seen == 0 {
        return Err(
            Failure::new(Kind::Submission, format!("no file in {}", folder.display()))
                .mend("name files, or a folder that holds some"),
        );
    }
    Ok(walked)
}

/// What is known of an entry without looking into it.
fn known(entry: &DirEntry) -> Option<What> {
    let kind = entry.file_type();
    let hidden = entry.file_name().to_string_lossy().starts_with('.');
    let passed_over = |why: &str| Some(What::PassedOver(why.to_owned()));
    if kind.is_symlink() {
        passed_over("a link, which is not followed")
    } else if hidden {
        passed_over("hidden: its name begins with a dot")
    } else if kind.is_dir() && entry.depth() > DEPTH_MAX {
        Some(What::Refused(
            Failure::new(
                Kind::Submission,
                format!("it is a folder more than {DEPTH_MAX} folders deep"),
            )
            .mend("name it in a command of its own"),
        ))
    } else if kind.is_dir() || kind.is_file() {
        None
    } else {
        passed_over("no regular file")
    }
}

fn unreadable(path: &Path, error: walkdir::Error) -> Failure {
    let words = error.to_string();
    let error = error
        .into_io_error()
        .unwrap_or_else(|| std::io::Error::other(words));
    Failure::file("read", path, error)
}
