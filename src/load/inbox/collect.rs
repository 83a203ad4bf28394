//! Everything that was named, looked at: files, the files of folders, and what archives and mails hold.
//!
//! A wrong name is a failure of the run, before anything is loaded. A file that is there and cannot be loaded is not: it is
//! refused, and the others are loaded.

use std::path::{Path, PathBuf};
use std::sync::Arc;

use tempfile::TempDir;

use super::found::{Found, What};
use super::mappings::Mappings;
use super::walk::{Walked, walk};
use intake::read::formats::look_at;
use intake::read::inbox::archive::unpack_zip;
use intake::read::inbox::inner_file::{Content, InnerFile};
use intake::read::inbox::mail::unpack_mail;
use intake::read::inbox::no_records::{refuse_empty, refuse_other_text};
use intake::read::inbox::sorting::{Sort, sort};
use scouting::failure::{Failure, Kind};
use scouting::plain_file::open_plain;

/// Bytes that the archives and mails of one run may unpack to, all together: they wait on the disk until they are loaded.
const UNPACKED_BYTES_MAX: u64 = 1 << 30;

/// Looks at a file or a folder that was named. Unpacked files are kept in `folders` until these are dropped.
///
/// # Errors
/// If there is nothing of this name, or nothing that can be read.
pub(crate) fn collect(named: &Path, folders: &mut Vec<TempDir>) -> Result<Vec<Found>, Failure> {
    let mut inbox = Inbox {
        found: Vec::new(),
        mappings: Mappings::default(),
        folders,
        unpacked_bytes: 0,
        is_folder: named.is_dir(),
    };
    if inbox.is_folder {
        for walked in walk(named)? {
            inbox.take_walked(named, walked);
        }
    } else {
        open_plain(named)?;
        let name = named.file_name().unwrap_or(named.as_os_str());
        inbox.take(named, PathBuf::from(name), Holder::Folder);
    }
    Ok(inbox.with_mappings())
}

/// What holds a file.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Holder {
    Folder,
    Mail,
    Archive,
}

/// What was found so far in one thing that was named.
struct Inbox<'f> {
    found: Vec<Found>,
    mappings: Mappings,
    folders: &'f mut Vec<TempDir>,
    unpacked_bytes: u64,
    /// Whether a folder was named: what holds no records is passed over there, and refused where it was named itself.
    is_folder: bool,
}

impl Inbox<'_> {
    fn take_walked(&mut self, folder: &Path, walked: Walked) {
        let within = |path: &Path| path.strip_prefix(folder).unwrap_or(path).to_owned();
        match walked {
            Walked::File(path) => self.take(&path, within(&path), Holder::Folder),
            Walked::Known(path, what) => self.push(within(&path), what),
        }
    }

    fn push(&mut self, within: PathBuf, what: What) {
        let name = shown(&within);
        self.found.push(Found { name, within, what });
    }

    /// Looks at a file, and into it if it holds files.
    fn take(&mut self, path: &Path, within: PathBuf, holder: Holder) {
        let file_name = within.file_name().unwrap_or_default().to_string_lossy();
        match sort(path, &file_name) {
            Err(failure) => self.push(within, What::Refused(failure)),
            Ok(Sort::Other(what)) => {
                let passed_over = self.pass_over(&shown(&within), what, holder);
                self.push(within, passed_over);
            }
            Ok(Sort::Mapping(text)) => self.take_mapping(within, &text, holder),
            Ok(Sort::Archive) => self.unpack(path, within, holder, Holder::Archive),
            Ok(Sort::Mail) => self.unpack(path, within, holder, Holder::Mail),
            Ok(Sort::Submission) => {
                let what = self
                    .submission(path, &shown(&within), holder)
                    .unwrap_or_else(What::Refused);
                self.push(within, what);
            }
        }
    }

    /// Whether a file was named itself, so that somebody meant it.
    fn is_named(&self, holder: Holder) -> bool {
        !self.is_folder && holder == Holder::Folder
    }

    fn pass_over(&self, name: &str, what: &str, holder: Holder) -> What {
        if !self.is_named(holder) {
            return What::PassedOver(what.to_owned());
        }
        What::Refused(
            Failure::new(Kind::Submission, format!("cannot load {name}: it is {what}"))
                .mend("name a file of records, a spreadsheet or a count sheet; in a folder, files of this kind are passed over"),
        )
    }

    fn take_mapping(&mut self, within: PathBuf, text: &str, holder: Holder) {
        let what = match self.mappings.add(&within, &shown(&within), text) {
            Some(failure) => What::Refused(failure),
            None if !self.is_named(holder) => What::PassedOver("a mapping file".to_owned()),
            None => What::Refused(
                Failure::new(
                    Kind::Submission,
                    format!("cannot load {}: it is a mapping file", shown(&within)),
                )
                .mend("name it after --mapping, or load the folder that holds it and its sheets"),
            ),
        };
        self.push(within, what);
    }

    fn submission(&self, path: &Path, name: &str, holder: Holder) -> Result<What, Failure> {
        let file = look_at(path, name)?;
        refuse_other_text(&file)?;
        if !self.is_named(holder) {
            refuse_empty(&file)?;
        }
        Ok(What::Submission {
            file,
            mappings: Arc::from([]),
        })
    }

    /// Unpacks an archive or a mail, and looks at each file in it.
    fn unpack(&mut self, path: &Path, within: PathBuf, holder: Holder, kind: Holder) {
        let name = shown(&within);
        match self.unpacked(path, &name, holder, kind) {
            Err(failure) => self.push(within, What::Refused(failure)),
            Ok(files) => {
                for file in files {
                    self.take_inner(&within, file, kind);
                }
            }
        }
    }

    fn unpacked(
        &mut self,
        path: &Path,
        name: &str,
        holder: Holder,
        kind: Holder,
    ) -> Result<Vec<InnerFile>, Failure> {
        let is_deep = match kind {
            Holder::Archive => holder == Holder::Archive,
            Holder::Mail | Holder::Folder => holder != Holder::Folder,
        };
        if is_deep {
            return Err(Failure::new(
                Kind::Submission,
                format!("cannot unpack {name}: it is packed within a packed file"),
            )
            .mend("unpack the outer one and load the folder"));
        }
        let unwritable = |error| Failure::file("write", &std::env::temp_dir(), error);
        let folder = tempfile::tempdir().map_err(unwritable)?;
        let files = match kind {
            Holder::Archive => unpack_zip(path, name, folder.path())?,
            Holder::Mail | Holder::Folder => unpack_mail(path, name, folder.path())?,
        };
        self.unpacked_bytes += bytes_of(&files);
        if self.unpacked_bytes > UNPACKED_BYTES_MAX {
            return Err(Failure::new(
                Kind::Submission,
                format!(
                    "cannot unpack {name}: the archives of this run unpack to more than {} MiB",
                    UNPACKED_BYTES_MAX >> 20
                ),
            )
            .mend("load it in a command of its own"));
        }
        self.folders.push(folder);
        Ok(files)
    }

    fn take_inner(&mut self, holder: &Path, file: InnerFile, kind: Holder) {
        let within = holder.join(&file.name);
        let hidden = file.name.split('/').any(|part| part.starts_with('.'));
        match file.content {
            Content::Refused(failure) => self.push(within, What::Refused(failure)),
            Content::Letter => {
                self.push(within, What::PassedOver("the text of the mail".to_owned()))
            }
            Content::Unpacked(_) if hidden => self.push(
                within,
                What::PassedOver("hidden: its name begins with a dot".to_owned()),
            ),
            Content::Unpacked(path) => self.take(&path, within, kind),
        }
    }

    /// What was found, each submission with the mappings of its nearest folder.
    fn with_mappings(self) -> Vec<Found> {
        let mut found = self.found;
        for Found { within, what, .. } in &mut found {
            if let What::Submission { mappings, .. } = what {
                *mappings = self.mappings.nearest(within);
            }
            if !self.is_folder && within.components().count() == 1 {
                *within = PathBuf::new();
            }
        }
        found
    }
}

fn bytes_of(files: &[InnerFile]) -> u64 {
    let bytes = |file: &InnerFile| match &file.content {
        Content::Unpacked(path) => path.metadata().map_or(0, |metadata| metadata.len()),
        Content::Letter | Content::Refused(_) => 0,
    };
    files.iter().map(bytes).sum()
}

/// A path within an inbox, with `/` on every system.
fn shown(within: &Path) -> String {
    let parts: Vec<_> = within
        .components()
        .map(|part| part.as_os_str().to_string_lossy())
        .collect();
    parts.join("/")
}
