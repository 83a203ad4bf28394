//! How a held record is closed: a row of `held_closed` says so; nothing that was held is changed.
//!
//! A held record is open until such a row counts. Rows of a load count with the load's receipt, like
//! all its rows; a drop is one commit to this one table, so its rows count as soon as they are there.
//! Closing is a set: if a record is closed twice in a race, both accounts are kept, and it is closed.

use std::sync::Arc;

use arrow::array::RecordBatch;
use jiff::Timestamp;

use crate::rows::schema::Kept;
use crate::rows::table_batch::TableBatch;
use scouting::visit::held_id::HeldId;

/// The closings that count, as a query: those of a load with a receipt, and every drop.
pub(crate) const CLOSINGS_THAT_COUNT: &str = "select * from held_closed \
     where how = 'dropped' or load_id in (select load_id from receipts)";

/// Why a held record is closed.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Ending {
    /// A corrected record is in `visits`.
    Corrected {
        /// Identity of that visit.
        visit_id: String,
        /// Its revision.
        revision: u32,
    },
    /// An attempt to correct it is held in its place: what was two would be one record twice.
    Replaced {
        /// The held record that represents it.
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
    pub(crate) fn how(&self) -> &'static str {
        match self {
            Ending::Corrected { .. } => "corrected",
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
pub(crate) fn closings_batch(rows: &[ClosingRow], load_id: &str) -> RecordBatch {
    TableBatch::of(Kept::HeldClosed, rows)
        .same("load_id", load_id)
        .bytes("record_sha256", |row| row.record_sha256)
        .text("submission_sha256", |row| &row.submission_sha256)
        .long("line", |row| row.line as i64)
        .text("how", |row| row.ending.how())
        .may_text("visit_id", |row| match &row.ending {
            Ending::Corrected { visit_id, .. } => Some(visit_id),
            _ => None,
        })
        .may_whole("revision", |row| match row.ending {
            Ending::Corrected { revision, .. } => Some(revision as i32),
            _ => None,
        })
        .may_text("replaced_by", |row| match row.ending {
            Ending::Replaced { by } => Some(by.to_string()),
            _ => None,
        })
        .may_text("reason", |row| match &row.ending {
            Ending::Dropped { reason, .. } => Some(reason),
            _ => None,
        })
        .may_text("who", |row| match &row.ending {
            Ending::Dropped { who, .. } => Some(who),
            _ => None,
        })
        .moment("closed_at", |row| row.closed_at)
        .finish()
}
