//! Writes outputs so that no reader ever sees half a file.
//!
//! Each file is written next to its target under another name, flushed to the disk and renamed;
//! then the folder is flushed, so that the name survives a power cut too. What the files say is
//! not known here; whether others than their owner may read them, the caller says.

use std::fs;
use std::io::{self, Write};
use std::path::Path;

use tempfile::{Builder, NamedTempFile, TempDir};

use scouting::failure::{Failure, Kind};

/// Bytes of a file name that common file systems hold (ext4, APFS, NTFS; from memory).
const NAME_LENGTH_MAX: usize = 255;

/// A file's name and its bytes.
pub(crate) type OutputFile = (&'static str, Vec<u8>);

/// Files as they are written.
pub(crate) fn borrowed(files: &[OutputFile]) -> Vec<(&str, &[u8])> {
    let files = files.iter();
    files.map(|(name, bytes)| (*name, &**bytes)).collect()
}

/// Who may read what is written.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Readers {
    /// Everyone whom the umask lets in.
    ByUmask,
    /// The owner alone, whatever the umask.
    Owner,
}

impl Readers {
    #[cfg(unix)]
    fn file_mode(self) -> u32 {
        match self {
            Readers::ByUmask => 0o666,
            Readers::Owner => 0o600,
        }
    }

    #[cfg(unix)]
    fn folder_mode(self) -> u32 {
        match self {
            Readers::ByUmask => 0o777,
            Readers::Owner => 0o700,
        }
    }
}

/// Writes one file, replacing what has that name, and makes its folder if there is none.
///
/// # Errors
/// A [`Failure`] with the path and the system's reason; the target is then as it was, and nothing
/// is left next to it.
pub fn write_file(path: &Path, bytes: &[u8]) -> Result<(), Failure> {
    write_file_for(path, bytes, Readers::ByUmask)
}

/// Writes one file that only its owner may read, as [`write_file`] does. Folders that it makes are for the
/// owner alone too; those that are there stay as they are.
///
/// # Errors
/// As [`write_file`].
pub(crate) fn write_private_file(path: &Path, bytes: &[u8]) -> Result<(), Failure> {
    write_file_for(path, bytes, Readers::Owner)
}

fn write_file_for(path: &Path, bytes: &[u8], readers: Readers) -> Result<(), Failure> {
    let folder = folder_of(path);
    make_folder(folder, readers)?;
    let staged = stage_file(path, bytes, readers)?;
    rename_into_place(staged, path)?;
    sync_folder(folder)
}

/// Writes a folder of files, given by plain names. A new folder appears whole, by one rename. In
/// one that is already there every file is first written out next to its target, and only then do
/// they take their names, one after another; other files in it stay.
///
/// # Errors
/// A [`Failure`] with the path and the system's reason, or if a name is not a plain file name or
/// comes twice; unless the disk fails between two renames, the folder is then as it was.
pub(crate) fn write_folder(target: &Path, files: &[(&str, &[u8])]) -> Result<(), Failure> {
    write_folder_for(target, files, Readers::ByUmask)
}

/// Writes a folder of files that only their owner may read, as [`write_folder`] does. Folders that it makes are
/// for the owner alone too; one that is there stays as it is, and its other files do.
///
/// # Errors
/// As [`write_folder`].
pub(crate) fn write_private_folder(target: &Path, files: &[(&str, &[u8])]) -> Result<(), Failure> {
    write_folder_for(target, files, Readers::Owner)
}

/// Writes a folder with the folders `public` and `private`, the latter for the owner alone. A new one comes into being
/// with all of its files or not at all.
///
/// # Errors
/// As [`write_folder`].
pub(crate) fn write_public_and_private(
    target: &Path,
    public: &[(&str, &[u8])],
    private: &[(&str, &[u8])],
) -> Result<(), Failure> {
    let write_both = |folder: &Path| {
        write_folder(&folder.join("public"), public)?;
        write_private_folder(&folder.join("private"), private)
    };
    if !target.exists() {
        make_folder(folder_of(target), Readers::ByUmask)?;
        let staged = stage_folder(target, Readers::ByUmask)?;
        write_both(staged.path())?;
        if rename_new_folder(staged, target)? {
            return Ok(());
        }
    }
    write_both(target)
}

fn write_folder_for(
    target: &Path,
    files: &[(&str, &[u8])],
    readers: Readers,
) -> Result<(), Failure> {
    check_names(target, files)?;
    if !target.exists() {
        make_folder(folder_of(target), readers)?;
        if write_new_folder(target, files, readers)? {
            return Ok(());
        }
    }
    let staged = files
        .iter()
        .map(|(name, bytes)| {
            let path = target.join(name);
            Ok((stage_file(&path, bytes, readers)?, path))
        })
        .collect::<Result<Vec<_>, Failure>>()?;
    for (file, path) in staged {
        rename_into_place(file, &path)?;
    }
    sync_folder(target)
}

/// Builds the folder next to `target` and renames it; false if somebody else made a folder of that
/// name with something in it meanwhile.
fn write_new_folder(
    target: &Path,
    files: &[(&str, &[u8])],
    readers: Readers,
) -> Result<bool, Failure> {
    let staged = stage_folder(target, readers)?;
    for (name, bytes) in files {
        let path = staged.path().join(name);
        let mut file =
            create_new(&path, readers).map_err(|error| Failure::file("write", &path, error))?;
        write_through(&mut file, bytes).map_err(|error| Failure::file("write", &path, error))?;
    }
    rename_new_folder(staged, target)
}

/// Gives a whole folder its name; false if somebody else made a folder of that name with something in it meanwhile.
fn rename_new_folder(staged: TempDir, target: &Path) -> Result<bool, Failure> {
    sync_folder(staged.path())?;
    match fs::rename(staged.path(), target) {
        // The name is gone, so there is nothing left for the guard to remove.
        Ok(()) => drop(staged.keep()),
        Err(_) if target.is_dir() => return Ok(false),
        Err(error) => return Err(Failure::file("make folder", target, error)),
    }
    sync_folder(folder_of(target))?;
    Ok(true)
}

fn check_names(target: &Path, files: &[(&str, &[u8])]) -> Result<(), Failure> {
    let unusable = |name: &str, why: &str| {
        Failure::new(Kind::Files, format!("cannot write {name:?}: {why}"))
            .at(target.display().to_string())
    };
    for (place, (name, _)) in files.iter().enumerate() {
        if Path::new(name).file_name() != Some(name.as_ref()) {
            return Err(unusable(name, "it is not a plain file name"));
        }
        // Found now, not at the rename, when other files may have taken their names already.
        if name.len() > NAME_LENGTH_MAX || target.join(name).is_dir() {
            return Err(unusable(name, "a folder has that name, or it is too long"));
        }
        if files[..place].iter().any(|(earlier, _)| earlier == name) {
            return Err(unusable(name, "it is named twice"));
        }
    }
    Ok(())
}

fn folder_of(path: &Path) -> &Path {
    match path.parent() {
        Some(parent) if !parent.as_os_str().is_empty() => parent,
        _ => Path::new("."),
    }
}

fn make_folder(folder: &Path, readers: Readers) -> Result<(), Failure> {
    let mut builder = fs::DirBuilder::new();
    builder.recursive(true);
    #[cfg(unix)]
    {
        use std::os::unix::fs::DirBuilderExt;
        builder.mode(readers.folder_mode());
    }
    #[cfg(not(unix))]
    let _ = readers;
    builder
        .create(folder)
        .map_err(|error| Failure::file("make folder", folder, error))
}

fn create_new(path: &Path, readers: Readers) -> io::Result<fs::File> {
    let mut options = fs::OpenOptions::new();
    options.write(true).create_new(true);
    #[cfg(unix)]
    {
        use std::os::unix::fs::OpenOptionsExt;
        options.mode(readers.file_mode());
    }
    #[cfg(not(unix))]
    let _ = readers;
    options.open(path)
}

/// A complete, flushed file next to `path`, which vanishes unless it is renamed.
fn stage_file(path: &Path, bytes: &[u8], readers: Readers) -> Result<NamedTempFile, Failure> {
    let stage = || -> io::Result<NamedTempFile> {
        let mut builder = builder();
        #[cfg(unix)]
        builder.permissions(permissions(readers.file_mode()));
        #[cfg(not(unix))]
        let _ = readers;
        let mut file = builder.tempfile_in(folder_of(path))?;
        write_through(file.as_file_mut(), bytes)?;
        Ok(file)
    };
    stage().map_err(|error| Failure::file("write", path, error))
}

fn stage_folder(target: &Path, readers: Readers) -> Result<TempDir, Failure> {
    let mut builder = builder();
    #[cfg(unix)]
    builder.permissions(permissions(readers.folder_mode()));
    #[cfg(not(unix))]
    let _ = readers;
    builder
        .tempdir_in(folder_of(target))
        .map_err(|error| Failure::file("make folder", target, error))
}

/// Names begin with a dot, so that a reader who lists the folder meanwhile passes them over.
fn builder() -> Builder<'static, 'static> {
    let mut builder = Builder::new();
    builder.prefix(".being-written-");
    builder
}

#[cfg(unix)]
fn permissions(mode: u32) -> fs::Permissions {
    use std::os::unix::fs::PermissionsExt;
    fs::Permissions::from_mode(mode)
}

fn write_through(file: &mut fs::File, bytes: &[u8]) -> io::Result<()> {
    file.write_all(bytes)?;
    file.sync_all()
}

fn rename_into_place(staged: NamedTempFile, path: &Path) -> Result<(), Failure> {
    match staged.persist(path) {
        Ok(_) => Ok(()),
        Err(error) => Err(Failure::file("write", path, error.error)),
    }
}

/// Flushes the names in a folder.
#[cfg(unix)]
fn sync_folder(folder: &Path) -> Result<(), Failure> {
    fs::File::open(folder)
        .and_then(|opened| opened.sync_all())
        .map_err(|error| Failure::file("flush folder", folder, error))
}

/// Only Unix lets a folder be opened and flushed.
#[cfg(not(unix))]
fn sync_folder(_: &Path) -> Result<(), Failure> {
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;

    fn names(folder: &Path) -> Vec<String> {
        let entries = fs::read_dir(folder).expect("a folder");
        let mut names: Vec<_> = entries
            .map(|entry| {
                entry
                    .expect("an entry")
                    .file_name()
                    .into_string()
                    .expect("UTF-8")
            })
            .collect();
        names.sort();
        names
    }

    #[test]
    fn a_file_is_written_and_replaced_and_nothing_lies_beside_it() {
        let folder = tempfile::tempdir().expect("a temporary folder");
        let path = folder.path().join("deep/er/page.html");
        write_file(&path, b"one").expect("written");
        write_file(&path, b"two").expect("replaced");
        assert_eq!(fs::read(&path).expect("the file"), b"two");
        assert_eq!(names(path.parent().expect("a folder")), ["page.html"]);
    }

    #[test]
    fn a_reader_who_holds_the_old_file_keeps_all_of_it() {
        let folder = tempfile::tempdir().expect("a temporary folder");
        let path = folder.path().join("page.html");
        write_file(&path, b"the old text").expect("written");
        let old = fs::File::open(&path).expect("opened");
        write_file(&path, b"new").expect("replaced");
        let text = io::read_to_string(old).expect("still readable");
        assert_eq!(text, "the old text");
    }

    #[test]
    fn what_cannot_be_written_leaves_the_target_and_the_folder_as_they_were() {
        let folder = tempfile::tempdir().expect("a temporary folder");
        // A folder in the file's place cannot be replaced by a file.
        let path = folder.path().join("taken");
        fs::create_dir(&path).expect("a folder");
        let failure = write_file(&path, b"text").expect_err("a folder is in the way");
        assert!(failure.to_string().contains("taken"), "{failure}");
        assert_eq!(names(folder.path()), ["taken"]);
    }

    #[test]
    fn a_new_folder_appears_whole_and_an_old_one_keeps_its_other_files() {
        let folder = tempfile::tempdir().expect("a temporary folder");
        let target = folder.path().join("out/week30");
        write_folder(&target, &[("a.csv", b"1"), ("b.html", b"2")]).expect("made");
        assert_eq!(names(&target), ["a.csv", "b.html"]);
        fs::write(target.join("note.txt"), b"mine").expect("written");
        write_folder(&target, &[("a.csv", b"3")]).expect("replaced");
        assert_eq!(fs::read(target.join("a.csv")).expect("the file"), b"3");
        assert_eq!(names(&target), ["a.csv", "b.html", "note.txt"]);
        assert_eq!(names(&folder.path().join("out")), ["week30"]);
    }

    #[test]
    fn a_folder_with_one_file_that_cannot_be_written_changes_no_other() {
        let folder = tempfile::tempdir().expect("a temporary folder");
        let target = folder.path().join("week30");
        fs::create_dir_all(target.join("taken")).expect("a folder");
        fs::write(target.join("a.csv"), b"old").expect("written");
        for name in ["taken".to_owned(), "x".repeat(300)] {
            write_folder(&target, &[("a.csv", b"new"), (&name, b"2")]).expect_err(&name);
            assert_eq!(names(&target), ["a.csv", "taken"]);
            assert_eq!(fs::read(target.join("a.csv")).expect("the file"), b"old");
        }
    }

    #[test]
    fn names_that_leave_the_folder_or_come_twice_are_refused() {
        let folder = tempfile::tempdir().expect("a temporary folder");
        let target = folder.path().join("week30");
        for name in ["../a", "a/b", "/etc/a", "..", ".", ""] {
            write_folder(&target, &[(name, b"1")]).expect_err(name);
        }
        write_folder(&target, &[("a", b"1"), ("a", b"2")]).expect_err("named twice");
        assert!(!target.exists());
        assert_eq!(names(folder.path()), [""; 0]);
    }

    #[cfg(unix)]
    #[test]
    fn others_may_read_what_the_umask_lets_them_read() {
        use std::os::unix::fs::PermissionsExt;
        let folder = tempfile::tempdir().expect("a temporary folder");
        let plain = folder.path().join("plain");
        fs::write(&plain, b"1").expect("written");
        let target = folder.path().join("week30");
        write_folder(&target, &[("a", b"1")]).expect("made");
        let mode = |path: &Path| fs::metadata(path).expect("is there").permissions().mode();
        assert_eq!(mode(&target.join("a")), mode(&plain));
        write_file(&target.join("a"), b"2").expect("replaced");
        assert_eq!(mode(&target.join("a")), mode(&plain));
        let plain_folder = folder.path().join("plain-folder");
        fs::create_dir(&plain_folder).expect("a folder");
        assert_eq!(mode(&target), mode(&plain_folder));
    }
}
