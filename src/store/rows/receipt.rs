//! The account of one submission.

use jiff::Timestamp;
use serde::Serialize;

/// The account of one submission: received = accepted + duplicate + held, always.
///
/// Its numbers are private, so that none can exist that does not add up.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Receipt {
    load_id: String,
    submission: Submission,
    counts: Counts,
}

/// The submission.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Submission {
    /// SHA-256 of the bytes as submitted, hexadecimal.
    pub sha256: String,
    /// Name of the file, without its folder; `-` for standard input.
    pub file_name: String,
    /// `ndjson` or `json`, with `+gzip` where packed.
    pub form: String,
    /// Size, bytes.
    pub bytes: u64,
    /// When it was loaded.
    pub received_at: Timestamp,
    /// Who sent it, and what it is for if the office made it.
    #[serde(flatten)]
    pub origin: Origin,
}

/// Where a submission comes from: a sender, or the office itself.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize)]
pub struct Origin {
    /// Who sent it, if it is known.
    pub sender: Option<String>,
    /// The load that it takes back, or brings back if it was taken back before.
    pub undoes: Option<String>,
    /// Why the office made it.
    pub reason: Option<String>,
    /// Who in the office made it.
    pub who: Option<String>,
}

/// How many records went where.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, Serialize)]
pub struct Counts {
    /// Records in the submission.
    pub received: u64,
    /// Records that are now in `visits`.
    pub accepted: u64,
    /// Records that `visits` already held.
    pub duplicate: u64,
    /// Records that could not be accepted.
    pub held: u64,
    /// Of the held, those that were held before, byte for byte.
    pub held_before: u64,
    /// Units of the accepted records.
    pub units: u64,
    /// Accepted records that bear a flag.
    pub flagged: u64,
    /// Held records of earlier loads that this one closed: corrected, or replaced by a later attempt.
    pub closed: u64,
}

impl Counts {
    /// Adds another submission's numbers.
    pub fn add(&mut self, other: &Counts) {
        self.received += other.received;
        self.accepted += other.accepted;
        self.duplicate += other.duplicate;
        self.held += other.held;
        self.held_before += other.held_before;
        self.units += other.units;
        self.flagged += other.flagged;
        self.closed += other.closed;
    }
}

impl Receipt {
    /// The receipt of a load.
    ///
    /// # Panics
    /// If the numbers do not add up, which would be our own mistake: a record was lost.
    pub fn new(load_id: String, submission: Submission, counts: Counts) -> Receipt {
        assert_eq!(
            counts.received,
            counts.accepted + counts.duplicate + counts.held,
            "a record of {} was lost: please report this",
            submission.file_name
        );
        Receipt {
            load_id,
            submission,
            counts,
        }
    }

    /// The load that the receipt makes visible.
    pub fn load_id(&self) -> &str {
        &self.load_id
    }

    /// The submission.
    pub fn submission(&self) -> &Submission {
        &self.submission
    }

    /// How many records went where.
    pub fn counts(&self) -> &Counts {
        &self.counts
    }
}
