//! The account of a submission: how many of its records went where, and what is said about them.

use std::collections::BTreeMap;

use super::reports::RecordReports;
use intake::mapping::SheetNotRead;
use intake::mapping::id_prefixes::IdPrefixes;
use scouting::visit::code::Code;
use store::rows::receipt::{Counts, Submission};

/// What became of one submission.
#[derive(Debug)]
pub struct Account {
    /// Identity of the load; empty if nothing was stored.
    pub load_id: String,
    /// The submission.
    pub submission: Submission,
    /// Sheets that the mapping leaves out, though they look like those that it reads.
    pub not_read: Vec<SheetNotRead>,
    /// What was put before the ids of its fields and scouts.
    pub id_prefixes: IdPrefixes,
    /// How many records went where.
    pub counts: Counts,
    /// Every held record with its reasons.
    pub held: RecordReports,
    /// Every accepted record with a flag that compares visits, and the sentence of each, `visit::doubts`.
    pub flagged: RecordReports,
    /// How many accepted records bear each flag.
    pub flags: BTreeMap<Code, u64>,
}
