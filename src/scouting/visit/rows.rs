//! A record after it was judged: accepted with all that was derived from it, or held with the reasons.

use std::sync::Arc;

use super::code::Code;
use bytes::Bytes;
use jiff::Timestamp;
use jiff::civil::Date;

use super::economics::EconomicMember;
use super::finding::Finding;
use super::held_id::HeldId;
use super::record::{Economics, Visit};
use super::sampling::SamplingStatistics;
use super::stage::Stage;
use super::week::IsoWeek;

/// An accepted visit with all that was derived from it.
#[derive(Debug, Clone)]
pub struct VisitRow {
    /// The record.
    pub visit: Visit,
    /// Line of the submission, or place in its JSON array, from 1.
    pub line: u64,
    /// Day of the visit.
    pub observed_on: Date,
    /// When it was submitted.
    pub submitted_at: Timestamp,
    /// Its ISO week.
    pub week: IsoWeek,
    /// Its crop stage.
    pub stage: Stage,
    /// County of the point.
    pub county_id: String,
    /// What the counts say.
    pub statistics: SamplingStatistics,
    /// Its economics, what its threshold needs and it lacks filled in.
    pub economics: Economics,
    /// Members of the economics that were filled in from the workspace's defaults.
    pub assumed: Vec<EconomicMember>,
    /// What is doubtful, in sentences, until the record is accepted.
    pub doubts: Vec<Finding>,
    /// Codes of all that is doubtful about an accepted record.
    pub flags: Vec<Code>,
    /// SHA-256 of the record in canonical form.
    pub content_sha256: [u8; 32],
    /// Longitude and latitude of the field, degrees; where only its county is known, of a point inside that county.
    pub point: (f64, f64),
    /// Who sent it, if it is known: the load says, not the record.
    pub sender: Option<Arc<str>>,
    /// The revision that its sender wrote, where the record got a higher one: after a load was taken back, or in the place of another record.
    pub revision_sent: Option<u32>,
}

/// A record that could not be accepted.
#[derive(Debug, Clone)]
pub struct HeldRow {
    /// Line of the submission, or place in its JSON array, from 1.
    pub line: u64,
    /// Identity of the visit, if it could be read.
    pub visit_id: Option<String>,
    /// Revision, if it could be read.
    pub revision: Option<u32>,
    /// Scout ID, if it could be read.
    pub observer_id: Option<String>,
    /// Why it is held, at least one.
    pub findings: Vec<Finding>,
    /// SHA-256 of the record as sent.
    pub record_sha256: [u8; 32],
    /// The record, byte for byte.
    pub record: Bytes,
    /// The held record that it was sent to correct.
    pub mends: Option<HeldId>,
    /// Who sent it, if it is known: the load says, not the record.
    pub sender: Option<Arc<str>>,
}
