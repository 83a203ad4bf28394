//! How much of one submission is taken in: what is beyond is no submission but another kind of file, or an attack.
//!
//! A submission that breaks one of these is refused whole, and nothing of it is loaded. The limits of single formats are
//! with their readers.

use std::fs::File;
use std::io::{self, BufReader, Read};

use flate2::bufread::MultiGzDecoder;

/// Held records that are kept of one submission, if they are also the larger part of it. A record that is held takes some
/// 16 microseconds and a row of the store; a wrong file can have ten million, and nobody corrects so many by hand.
pub const HELD_MAX: u64 = 10_000;

/// Bytes that a packed submission may unpack to. Ten million visits are some 12 GB of NDJSON: two loads of three seasons
/// each are better than one of six.
pub(crate) const UNPACKED_BYTES_MAX: u64 = 4 << 30;
/// Unpacked bytes for which no ratio is looked at: one long line of a small file packs as well as it likes.
const RATIO_FREE_BYTES: u64 = 64 << 20;
/// Unpacked bytes for one packed one beyond that. Invented visits pack 20 to 1, and 60 to 1 where all are alike; a bomb
/// packs up to 1,032 to 1, which is all that the format can.
const RATIO_MAX: u64 = 200;

/// Bytes between records: blank lines, blanks between the elements of an array.
const BETWEEN_BYTES_FREE: u64 = 4 << 20;
/// Bytes between records for one byte of a record, beyond that.
const BETWEEN_RATIO_MAX: u64 = 4;

/// The unpacked content of a gzip file, as far as it is within the limits; then reading fails.
pub(crate) struct Unpacked {
    content: MultiGzDecoder<BufReader<Counted>>,
    unpacked: u64,
}

/// A file, and how much of it was read.
struct Counted {
    file: File,
    bytes: u64,
}

impl Read for Counted {
    fn read(&mut self, buffer: &mut [u8]) -> io::Result<usize> {
        let read = self.file.read(buffer)?;
        self.bytes += read as u64;
        Ok(read)
    }
}

impl Unpacked {
    /// Unpacks a file that is read from its beginning.
    pub(crate) fn new(file: File, buffer_bytes: usize) -> Unpacked {
        let counted = Counted { file, bytes: 0 };
        Unpacked {
            content: MultiGzDecoder::new(BufReader::with_capacity(buffer_bytes, counted)),
            unpacked: 0,
        }
    }
}

impl Read for Unpacked {
    fn read(&mut self, buffer: &mut [u8]) -> io::Result<usize> {
        let read = self.content.read(buffer)?;
        self.unpacked += read as u64;
        // What waits in the buffer was read and not unpacked yet: the ratio is a little below the true one.
        let packed = self.content.get_ref().get_ref().bytes;
        match unpacks_too_far(self.unpacked, packed) {
            Some(why) => Err(io::Error::other(why)),
            None => Ok(read),
        }
    }
}

fn unpacks_too_far(unpacked: u64, packed: u64) -> Option<String> {
    if unpacked > UNPACKED_BYTES_MAX {
        let most = UNPACKED_BYTES_MAX >> 30;
        return Some(format!("it unpacks to more than {most} GiB; split it"));
    }
    (unpacked > RATIO_FREE_BYTES && unpacked > packed.saturating_mul(RATIO_MAX)).then(|| {
        format!(
            "{packed} bytes unpack to {unpacked} or more, which records do not: {RATIO_MAX} for one is the most"
        )
    })
}

/// What a submission has of records and of what is between them, bytes.
#[derive(Debug, Default, Clone, Copy)]
pub struct Between {
    records: u64,
    between: u64,
}

impl Between {
    /// Adds bytes of records.
    pub(crate) fn add_records(&mut self, bytes: usize) {
        self.records += bytes as u64;
    }

    /// Adds bytes between records.
    pub(crate) fn add_between(&mut self, bytes: usize) {
        self.between += bytes as u64;
    }

    /// Whether so much of it is blank that it is no file of records.
    pub(crate) fn is_too_much(&self) -> bool {
        self.between
            > BETWEEN_BYTES_FREE.saturating_add(self.records.saturating_mul(BETWEEN_RATIO_MAX))
    }

    /// Bytes between records so far.
    pub fn bytes(&self) -> u64 {
        self.between
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_million_visits_unpack_and_a_bomb_does_not() {
        // 1.24 GB of 60 MB, as a million invented visits come out.
        assert_eq!(unpacks_too_far(1_240_000_000, 60_000_000), None);
        assert_eq!(unpacks_too_far(RATIO_FREE_BYTES, 65_000), None);
        assert!(unpacks_too_far(RATIO_FREE_BYTES + 1, 65_000).is_some());
        assert!(unpacks_too_far(UNPACKED_BYTES_MAX + 1, UNPACKED_BYTES_MAX).is_some());
    }

    #[test]
    fn blank_lines_between_records_are_few_or_the_file_is_none_of_records() {
        let mut spaced = Between::default();
        spaced.add_between(BETWEEN_BYTES_FREE as usize);
        assert!(!spaced.is_too_much());
        spaced.add_between(1);
        assert!(spaced.is_too_much());
        spaced.add_records(1);
        assert!(!spaced.is_too_much());
    }
}
