//! One record of a submission as it was sent: bytes, or rows of a table.

use bytes::Bytes;

use crate::corrections::kept_rows::{kept, without_half_made_id};
use crate::corrections::made_identity::identified_by;
use crate::corrections::returned::Returned;
use crate::sheet::table::TableRecord;
use scouting::visit::held_id::HeldId;

/// Records are read in chunks of about this size, and those of a chunk share its memory.
pub(crate) const CHUNK_BYTES: usize = 1 << 20;

/// One record as it was sent.
#[derive(Debug, Clone)]
pub struct RawRecord {
    /// Line of the submission, or place among the records of a JSON text, from 1.
    pub line: u64,
    /// What was sent.
    pub sent: Sent,
    /// The held record that it was sent to correct.
    pub mends: Option<HeldId>,
    /// What it says besides its values, if it comes back from a sheet that was sent out to be corrected.
    pub returned: Option<Box<Returned>>,
}

/// The two forms in which a record is sent.
#[derive(Debug, Clone)]
pub enum Sent {
    /// Its bytes, without the line's end.
    Bytes(Bytes),
    /// Rows of a table, and what was made of them.
    Rows(Box<TableRecord>),
}

impl RawRecord {
    /// Rows of a table as all records are judged; of what is held, [`crate::corrections::kept_rows`] says what is kept.
    pub(crate) fn of_rows(record: TableRecord) -> RawRecord {
        RawRecord {
            line: record.line,
            sent: Sent::Rows(Box::new(without_half_made_id(record))),
            mends: None,
            returned: None,
        }
    }

    /// Gives rows without an identity the one that a recipe makes of them; without a recipe that is a finding.
    pub fn identify(&mut self, recipe: Option<&str>) {
        if let Sent::Rows(rows) = &mut self.sent {
            let record = identified_by((**rows).clone(), recipe);
            **rows = without_half_made_id(record);
        }
    }

    /// What is kept of the record if it is held. Of bytes a copy, so that a small record does not keep its
    /// whole chunk.
    pub fn kept(&self) -> Bytes {
        match &self.sent {
            Sent::Bytes(bytes) if bytes.len() < CHUNK_BYTES / 2 => Bytes::copy_from_slice(bytes),
            Sent::Bytes(bytes) => bytes.clone(),
            Sent::Rows(rows) => kept(rows),
        }
    }

    /// How many bytes were sent, about.
    pub fn weight(&self) -> usize {
        match &self.sent {
            Sent::Bytes(bytes) => bytes.len(),
            Sent::Rows(rows) => rows.as_sent.len(),
        }
    }
}
