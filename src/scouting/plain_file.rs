//! A file that a person named, read if it is a plain file and no larger than its kind can be.
//!
//! A pipe or a device in a file's place has no end that anybody knows: it would hang the program, or fill the memory.
//! What is in a file is for its reader to judge; submissions are streamed by the crate `intake` and come here only to be
//! opened.

use std::fs::{File, FileType};
use std::io::{self, Read};
use std::path::Path;

use crate::failure::{Failure, Kind};

/// Most bytes of a file of settings, a mapping or a protocol: those that come with the program have some ten thousand.
pub const SETTINGS_BYTES_MAX: u64 = 1 << 20;
/// Most bytes of a boundary file. A million vertices with seven decimals are some 25 MB of GeoJSON; read, a file takes
/// about ten times its size in memory.
pub const BOUNDARIES_BYTES_MAX: u64 = 256 << 20;
/// Most bytes of a file of an issued alert. The largest is the map of a region, some megabytes.
pub const ISSUED_BYTES_MAX: u64 = 256 << 20;
/// Most unpacked bytes of a weather file: a world's year of daily station values has some 1.5 GB.
pub const WEATHER_BYTES_MAX: u64 = 8 << 30;

/// Opens a file for reading, if it is a plain one. A link is followed; a folder, a pipe or a device is refused before it
/// is opened, since opening a pipe waits for somebody who writes to it.
///
/// # Errors
/// A [`Failure`] that names what was found, or the system's own reason.
pub fn open_plain(path: &Path) -> Result<File, Failure> {
    let unreadable = |error| Failure::file("read", path, error);
    refuse_other_kinds(
        path,
        std::fs::metadata(path).map_err(unreadable)?.file_type(),
    )?;
    let file = File::open(path).map_err(unreadable)?;
    // It may have been exchanged in between.
    refuse_other_kinds(path, file.metadata().map_err(unreadable)?.file_type())?;
    Ok(file)
}

/// All bytes of a plain file of at most `most` bytes.
///
/// # Errors
/// A [`Failure`] as of [`open_plain`], or that names the size and the limit.
pub fn read_plain(path: &Path, most: u64) -> Result<Vec<u8>, Failure> {
    let file = open_plain(path)?;
    let unreadable = |error| Failure::file("read", path, error);
    let size = file.metadata().map_err(unreadable)?.len();
    let mut bytes = Vec::new();
    if size <= most {
        // A file of the system can say that it is empty, and give bytes without end.
        let mut bounded = file.take(most + 1);
        bounded.read_to_end(&mut bytes).map_err(unreadable)?;
    }
    let found = size.max(bytes.len() as u64);
    if found > most {
        return Err(Failure::new(
            Kind::Files,
            format!("cannot read {}: it has {found} bytes or more, {most} at the most", path.display()),
        )
        .mend("is it the file that was meant? a file of this kind is not so large; name another, or shorten it"));
    }
    Ok(bytes)
}

/// The text of a plain file of at most `most` bytes, which must be UTF-8.
///
/// # Errors
/// As [`read_plain`], and for bytes that are no UTF-8.
pub fn read_plain_text(path: &Path, most: u64) -> Result<String, Failure> {
    String::from_utf8(read_plain(path, most)?).map_err(|error| {
        let position = error.utf8_error().valid_up_to();
        let not_text = io::Error::new(
            io::ErrorKind::InvalidData,
            format!("byte {position} is not UTF-8 text"),
        );
        Failure::file("read", path, not_text).caused_by(error)
    })
}

/// Refuses what is no plain file, by what it is.
fn refuse_other_kinds(path: &Path, kind: FileType) -> Result<(), Failure> {
    if kind.is_file() {
        return Ok(());
    }
    Err(Failure::new(
        Kind::Files,
        format!(
            "cannot read {}: it is {}, not a regular file",
            path.display(),
            name_of(kind)
        ),
    )
    .mend("name a file; what comes through a pipe is saved to one first (load and check take - for standard input)"))
}

#[cfg(unix)]
fn name_of(kind: FileType) -> &'static str {
    use std::os::unix::fs::FileTypeExt;
    match kind {
        kind if kind.is_dir() => "a folder",
        kind if kind.is_fifo() => "a pipe",
        kind if kind.is_socket() => "a socket",
        _ => "a device",
    }
}

#[cfg(not(unix))]
fn name_of(kind: FileType) -> &'static str {
    match kind.is_dir() {
        true => "a folder",
        false => "a device",
    }
}

/// A reader that fails where its content goes on beyond a limit, instead of ending there as if that were all.
pub(crate) struct Bounded<Content> {
    content: Content,
    left: u64,
    most: u64,
}

impl<Content: Read> Bounded<Content> {
    /// Reads at most so many bytes of the content.
    pub(crate) fn new(content: Content, most: u64) -> Bounded<Content> {
        Bounded {
            content,
            left: most,
            most,
        }
    }
}

impl<Content: Read> Read for Bounded<Content> {
    fn read(&mut self, buffer: &mut [u8]) -> io::Result<usize> {
        let read = self.content.read(buffer)?;
        self.left = self.left.checked_sub(read as u64).ok_or_else(|| {
            io::Error::other(format!("unpacked it has more than {} bytes", self.most))
        })?;
        Ok(read)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_file_is_read_up_to_its_limit_and_not_beyond() {
        let folder = tempfile::tempdir().expect("a temporary folder");
        let path = folder.path().join("file");
        std::fs::write(&path, "twelve bytes").expect("written");
        assert_eq!(read_plain_text(&path, 12).expect("read"), "twelve bytes");
        let refused = read_plain(&path, 11).expect_err("too large").to_string();
        assert!(
            refused.contains("12 bytes or more, 11 at the most"),
            "{refused}"
        );
        std::fs::write(&path, b"caf\xe9").expect("written");
        let refused = read_plain_text(&path, 12).expect_err("no text").to_string();
        assert!(refused.contains("byte 3 is not UTF-8"), "{refused}");
    }

    #[test]
    fn what_is_no_plain_file_is_named() {
        let folder = tempfile::tempdir().expect("a temporary folder");
        let refused = open_plain(folder.path()).expect_err("a folder").to_string();
        assert!(
            refused.contains("it is a folder, not a regular file"),
            "{refused}"
        );
        let refused = open_plain(&folder.path().join("none")).expect_err("nothing");
        assert!(refused.to_string().contains("No such file"), "{refused}");
    }

    #[cfg(target_os = "linux")]
    #[test]
    fn a_device_without_end_and_a_file_that_hides_its_size_are_no_trap() {
        let refused = read_plain(Path::new("/dev/zero"), 10)
            .expect_err("a device")
            .to_string();
        assert!(refused.contains("it is a device"), "{refused}");
        // A regular file of the system that says it has no bytes.
        let refused = read_plain(Path::new("/proc/self/status"), 10)
            .expect_err("too large")
            .to_string();
        assert!(refused.contains("11 bytes or more"), "{refused}");
    }

    #[test]
    fn a_bounded_reader_fails_where_a_shorter_one_would_end() {
        let read = |most| io::read_to_string(Bounded::new(&b"content"[..], most));
        assert_eq!(read(7).expect("all of it"), "content");
        assert!(
            read(6)
                .expect_err("more")
                .to_string()
                .contains("more than 6 bytes")
        );
    }
}
