//! The account of a submission: how many of its records went where, and what is said about them.

use std::collections::BTreeMap;

use super::preview::Preview;
use super::reports::RecordReports;
use intake::mapping::ColumnUse;
use intake::mapping::id_prefixes::IdPrefixes;
use intake::read::not_read::NotRead;
use scouting::visit::code::Code;
use store::rows::receipt::{Counts, Submission};

/// What became of one submission.
#[derive(Debug)]
pub struct Account {
    /// Identity of the load; empty if nothing was stored.
    pub load_id: String,
    /// The submission.
    pub submission: Submission,
    /// What is left out of it.
    pub not_read: NotRead,
    /// What was put before the ids of its fields and scouts.
    pub id_prefixes: IdPrefixes,
    /// How many records went where.
    pub counts: Counts,
    /// Every held record with its reasons.
    pub held: RecordReports,
    /// Every accepted record with a flag that compares visits, and the sentence of each, `visit::rules::doubts`.
    pub flagged: RecordReports,
    /// How many accepted records bear each flag.
    pub flags: BTreeMap<Code, u64>,
    /// The first records, if somebody asked for them.
    pub(crate) preview: Option<Preview>,
    /// What the mapping does with each column, if somebody asked for that.
    pub(crate) columns: Vec<ColumnUse>,
}
