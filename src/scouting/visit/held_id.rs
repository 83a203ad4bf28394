//! The name of one held record.

use std::fmt;
use std::str::FromStr;

use serde::{Serialize, Serializer};

/// Names one held record: the beginning of its SHA-256 and its line, since a submission may hold the
/// same bytes on several lines. Written `3fa94c0d11e27b58-12`.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct HeldId {
    start: u64,
    line: u64,
}

impl HeldId {
    /// The id of the record with this SHA-256 on this line.
    pub fn new(record_sha256: &[u8; 32], line: u64) -> HeldId {
        let [a, b, c, d, e, f, g, h, ..] = *record_sha256;
        HeldId {
            start: u64::from_be_bytes([a, b, c, d, e, f, g, h]),
            line,
        }
    }
}

impl fmt::Display for HeldId {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{:016x}-{}", self.start, self.line)
    }
}

impl FromStr for HeldId {
    type Err = String;

    fn from_str(text: &str) -> Result<HeldId, String> {
        let read = || {
            let (start, line) = text.trim().split_once('-')?;
            let digits = |text: &str, radix| text.chars().all(|digit| digit.is_digit(radix));
            let is_id = start.len() == 16 && digits(start, 16) && digits(line, 10);
            is_id.then_some(HeldId {
                start: u64::from_str_radix(start, 16).ok()?,
                line: line.parse().ok()?,
            })
        };
        read().ok_or_else(|| {
            "16 hexadecimal digits, a hyphen and a line are expected: 3fa94c0d11e27b58-12"
                .to_owned()
        })
    }
}

impl Serialize for HeldId {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        serializer.collect_str(self)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_held_id_is_read_as_it_is_written_and_nothing_else_is() {
        let mut hash = [0xab; 32];
        hash[0] = 0x01;
        let id = HeldId::new(&hash, 12);
        assert_eq!(id.to_string(), "01ababababababab-12");
        assert_eq!(id.to_string().parse(), Ok(id));
        assert_eq!(" 01ABABABABABABAB-12 ".parse(), Ok(id));
        for wrong in [
            "",
            "01ababababababab",
            "01ababababababab-",
            "1ababababababab-12",
            "+1ababababababab-12",
            "01ababababababab-+2",
            "01ababababababab-1.2",
            "01ababababababab-99999999999999999999",
            "=1ababababababab-12",
        ] {
            assert!(wrong.parse::<HeldId>().is_err(), "{wrong}");
        }
    }
}
