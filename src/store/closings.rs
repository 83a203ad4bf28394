//! How a held record is closed: a row of `held_closed` says so; nothing that was held is changed.
//!
//! A held record is open until such a row counts. Rows of a load count with the load's receipt, like
//! all its rows; a drop is one commit to this one table, so its rows count as soon as they are there.
//! Closing is a set: if a record is closed twice in a race, both accounts stand, and it is closed.

use std::fmt;
use std::str::FromStr;
use std::sync::Arc;

use arrow::array::{ArrayRef, BinaryArray, Int32Array, Int64Array, RecordBatch, StringArray};
use jiff::Timestamp;
use serde::{Serialize, Serializer};

use super::rows::{batch, moments, repeated};
use super::tables::Kept;

/// The closings that count, as a query: those of a load with a receipt, and every drop.
pub const CLOSINGS_THAT_COUNT: &str = "select * from held_closed \
     where how = 'dropped' or load_id in (select load_id from receipts)";

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

/// Why a held record is closed.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Ending {
    /// A mended record is in `visits`.
    Mended {
        /// Identity of that visit.
        visit_id: String,
        /// Its revision.
        revision: u32,
    },
    /// An attempt to mend it is held in its place: what was two would be one record twice.
    Replaced {
        /// The held record that stands for it.
        by: HeldId,
    },
    /// Somebody decided that it is not wanted.
    Dropped {
        /// Why.
        reason: String,
        /// Who decided.
        who: String,
    },
}

impl Ending {
    /// The word in the column `how`.
    pub fn how(&self) -> &'static str {
        match self {
            Ending::Mended { .. } => "mended",
            Ending::Replaced { .. } => "replaced",
            Ending::Dropped { .. } => "dropped",
        }
    }
}

/// One row of `held_closed`.
#[derive(Debug, Clone)]
pub struct ClosingRow {
    /// SHA-256 of the held record as sent.
    pub record_sha256: [u8; 32],
    /// SHA-256 of the submission that it came in, hexadecimal.
    pub submission_sha256: Arc<str>,
    /// Its line there.
    pub line: u64,
    /// Why it is closed.
    pub ending: Ending,
    /// When.
    pub closed_at: Timestamp,
}

/// Rows of `held_closed`; `load_id` is that of the load, or the id of the drop.
pub fn closings_batch(rows: &[ClosingRow], load_id: &str) -> RecordBatch {
    let optional_text = |of: &dyn Fn(&ClosingRow) -> Option<String>| -> ArrayRef {
        Arc::new(rows.iter().map(of).collect::<StringArray>())
    };
    let columns: Vec<ArrayRef> = vec![
        repeated(load_id, rows.len()),
        Arc::new(BinaryArray::from_iter_values(
            rows.iter().map(|row| row.record_sha256),
        )),
        Arc::new(StringArray::from_iter_values(
            rows.iter().map(|row| &row.submission_sha256),
        )),
        Arc::new(Int64Array::from_iter_values(
            rows.iter().map(|row| row.line as i64),
        )),
        Arc::new(StringArray::from_iter_values(
            rows.iter().map(|row| row.ending.how()),
        )),
        optional_text(&|row| match &row.ending {
            Ending::Mended { visit_id, .. } => Some(visit_id.clone()),
            _ => None,
        }),
        Arc::new(
            rows.iter()
                .map(|row| match row.ending {
                    Ending::Mended { revision, .. } => Some(revision as i32),
                    _ => None,
                })
                .collect::<Int32Array>(),
        ),
        optional_text(&|row| match row.ending {
            Ending::Replaced { by } => Some(by.to_string()),
            _ => None,
        }),
        optional_text(&|row| match &row.ending {
            Ending::Dropped { reason, .. } => Some(reason.clone()),
            _ => None,
        }),
        optional_text(&|row| match &row.ending {
            Ending::Dropped { who, .. } => Some(who.clone()),
            _ => None,
        }),
        moments(rows.iter().map(|row| row.closed_at)),
    ];
    batch(Kept::HeldClosed, columns)
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
