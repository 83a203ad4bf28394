//! Files of a folder, with their content and permissions.

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};

/// Every file under a folder, by its path within it.
pub fn folder_bytes(folder: &Path) -> BTreeMap<String, Vec<u8>> {
    let mut files = BTreeMap::new();
    let mut folders = vec![folder.to_owned()];
    while let Some(place) = folders.pop() {
        for entry in std::fs::read_dir(&place).expect("a folder that can be read") {
            let path = entry.expect("an entry that can be read").path();
            if path.is_dir() {
                folders.push(path);
            } else {
                let within = path.strip_prefix(folder).expect("a path within the folder");
                let bytes = std::fs::read(&path).expect("a file that can be read");
                files.insert(within.display().to_string(), bytes);
            }
        }
    }
    files
}

/// Permissions of a file or folder.
#[cfg(unix)]
pub fn mode(path: &Path) -> u32 {
    use std::os::unix::fs::PermissionsExt;
    let metadata = std::fs::symlink_metadata(path).expect("it is there");
    metadata.permissions().mode() & 0o777
}

/// A folder and everything below it are their owner's alone.
#[cfg(unix)]
#[track_caller]
pub fn assert_private(folder: &Path) {
    let all = everything(folder);
    assert!(all.len() > 1, "{}: nothing was written", folder.display());
    for path in all {
        let right = if path.is_dir() { 0o700 } else { 0o600 };
        let mode = mode(&path);
        assert_eq!(mode, right, "{} is {mode:o}", path.display());
    }
}

/// A folder and everything below it.
pub fn everything(folder: &Path) -> Vec<PathBuf> {
    let mut all = vec![folder.to_owned()];
    let mut next = 0;
    while next < all.len() {
        if all[next].is_dir() {
            let entries = std::fs::read_dir(&all[next]).expect("a folder");
            all.extend(entries.map(|entry| entry.expect("an entry").path()));
        }
        next += 1;
    }
    all
}

/// Every file under a folder with its content.
pub fn contents(folder: &Path) -> BTreeMap<PathBuf, Vec<u8>> {
    let mut files = BTreeMap::new();
    let mut folders = vec![folder.to_owned()];
    while let Some(next) = folders.pop() {
        for entry in std::fs::read_dir(next).expect("a folder") {
            let path = entry.expect("an entry").path();
            if path.is_dir() {
                folders.push(path);
            } else {
                let content = std::fs::read(&path).expect("a file");
                files.insert(path, content);
            }
        }
    }
    files
}

/// A path as an argument.
pub fn text_of(path: &Path) -> String {
    path.to_str().expect("a path in UTF-8").to_owned()
}
