//! The mapping that a table is read by, of those in its folder.
//!
//! A mapping is never guessed: of several, the one that finds all its columns and mentions all that holds data is taken, and
//! only if no other does. A table in a layout of our own, or one that was sent out to be corrected, needs none.

use crate::mapping::Mapping;
use crate::read::no_table::holds_our_records;
use crate::read::sheets::read_sheets;
use crate::read::submitted::{Form, SubmittedFile};
use crate::read::table_records::is_our_layout;
use scouting::failure::{Failure, Kind};

/// A mapping file of a folder.
#[derive(Debug, Clone)]
pub struct FolderMapping {
    /// Where it is, for messages.
    pub place: String,
    /// The mapping, or why it cannot be used.
    pub read: Result<Mapping, Failure>,
}

/// Finds the mapping of a table among those of one folder; none if the table needs none or the folder has none.
///
/// # Errors
/// If the table cannot be read, or not exactly one mapping fits, with the reason of each.
pub fn fitting_mapping<'m>(
    file: &SubmittedFile,
    folder: &'m [FolderMapping],
) -> Result<Option<&'m Mapping>, Failure> {
    if folder.is_empty() {
        return Ok(None);
    }
    if !file.form.is_table() {
        return mapping_of_json(file, folder);
    }
    let sheets = read_sheets(file, None)?;
    if is_our_layout(&sheets, &file.name) {
        return Ok(None);
    }
    if let [only] = folder {
        return match &only.read {
            Ok(mapping) => Ok(Some(mapping)),
            Err(failure) => Err(refused(
                file,
                "the mapping in its folder cannot be used",
                &[reason(only, failure)],
                "correct the mapping, or name another with --mapping",
            )),
        };
    }
    let mut fitting = Vec::new();
    let mut reasons = Vec::new();
    for candidate in folder {
        let fits = candidate.read.as_ref().map_err(Clone::clone);
        match fits.and_then(|mapping| mapping.fits(&sheets, &file.name).map(|()| mapping)) {
            Ok(mapping) => {
                fitting.push(mapping);
                reasons.push(format!("{} fits", candidate.place));
            }
            Err(failure) => reasons.push(reason(candidate, &failure)),
        }
    }
    match fitting.as_slice() {
        [one] => Ok(Some(one)),
        [] => Err(refused(
            file,
            &format!(
                "none of the {} mappings in its folder fits it",
                folder.len()
            ),
            &reasons,
            "add the headers of the sheet to its mapping, or name the mapping with --mapping",
        )),
        _ => Err(refused(
            file,
            "more than one mapping in its folder fits it",
            &reasons,
            "keep the sheets of each mapping in a folder of their own, or name the mapping with --mapping",
        )),
    }
}

/// The mapping of another program's JSON: the one that fits it. Without one it holds records, which say what is wrong.
fn mapping_of_json<'m>(
    file: &SubmittedFile,
    folder: &'m [FolderMapping],
) -> Result<Option<&'m Mapping>, Failure> {
    if file.form == Form::ParquetRecords || holds_our_records(file)? {
        return Ok(None);
    }
    let read = folder
        .iter()
        .filter_map(|mapping| mapping.read.as_ref().ok());
    let fits = |mapping: &&Mapping| {
        let sheets = read_sheets(file, Some(mapping));
        sheets.is_ok_and(|sheets| mapping.fits(&sheets, &file.name).is_ok())
    };
    let fitting: Vec<&Mapping> = read.filter(fits).collect();
    match fitting.as_slice() {
        [] => Ok(None),
        [one] => Ok(Some(one)),
        _ => Err(refused(
            file,
            "more than one mapping in its folder fits it",
            &[],
            "name the mapping with --mapping",
        )),
    }
}

fn reason(mapping: &FolderMapping, failure: &Failure) -> String {
    let what = failure.what();
    let what = what.split_once(": ").map_or(what, |(_, what)| what);
    format!("{}: {what}", mapping.place)
}

fn refused(file: &SubmittedFile, what: &str, reasons: &[String], mend: &str) -> Failure {
    Failure::new(
        Kind::Submission,
        format!("cannot load {}: {what}", file.name),
    )
    .at(reasons.join("; "))
    .mend(mend)
}
