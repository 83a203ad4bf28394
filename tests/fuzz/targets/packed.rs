//! Archives and mails: what is unpacked is in the folder that was named for it, within the limits, and named as it can be shown.
//!
//! An input that begins as a zip archive or a mail is taken as it is; any other is a list of files for an archive, as
//! [`super::xlsx`] has them.

use std::path::Path;

use intake::read::inbox::archive::unpack_zip;
use intake::read::inbox::inner_file::{Content, InnerFile};
use intake::read::inbox::mail::unpack_mail;
use intake::read::inbox::sorting::{Sort, sort};
use scouting::failure::Failure;

use super::desk::reported;
use super::xlsx::archive;

/// Bytes that one archive may unpack to.
const UNPACKED_BYTES_MAX: u64 = 128 << 20;

/// Looks at one archive or mail.
pub fn look(bytes: &[u8]) {
    let folder = tempfile::tempdir().expect("a temporary folder");
    let path = folder.path().join("input");
    let into = folder.path().join("unpacked");
    std::fs::create_dir(&into).expect("a folder");
    std::fs::write(&path, bytes).expect("an input");
    let Ok(mut sorted) = sort(&path, "input") else {
        return;
    };
    if !matches!(sorted, Sort::Archive | Sort::Mail)
        && let Some(packed) = archive(bytes)
    {
        std::fs::write(&path, packed).expect("an archive");
        sorted = sort(&path, "input").expect("an archive of ours can be read");
    }
    let files = match sorted {
        Sort::Archive => unpack_zip(&path, "input", &into),
        Sort::Mail => unpack_mail(&path, "input", &into),
        _ => return,
    };
    hold(reported(files), &into);
}

fn hold(files: Option<Vec<InnerFile>>, into: &Path) {
    let mut bytes = 0;
    let mut unpacked = 0;
    for file in files.into_iter().flatten() {
        let is_shown = !file.name.chars().any(char::is_control) && !file.name.contains('\\');
        assert!(is_shown, "{:?} cannot be shown", file.name);
        match file.content {
            Content::Unpacked(path) => {
                let real = path.canonicalize().expect("it was written");
                let folder = into.canonicalize().expect("a folder");
                assert!(real.starts_with(folder), "{} is elsewhere", real.display());
                bytes += real.metadata().expect("a file").len();
                unpacked += 1;
            }
            Content::Refused(failure) => hold_words(&failure),
            Content::Letter => {}
        }
    }
    assert!(bytes <= UNPACKED_BYTES_MAX, "{bytes} bytes");
    let written = std::fs::read_dir(into).expect("a folder").count();
    assert!(written >= unpacked, "{unpacked} files of {written}");
}

fn hold_words(failure: &Failure) {
    let text = failure.to_string();
    assert!(!text.is_empty() && !text.contains('\u{0}'), "{text:?}");
}
