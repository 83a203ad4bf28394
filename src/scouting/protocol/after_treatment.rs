//! The table `[after_treatment]` of a protocol: for how long a count after a treatment says nothing about pressure.

use serde::{Deserialize, Serialize};

/// The days where a protocol says nothing: standard practice; no published source.
pub(super) const DAYS_WHERE_NOT_STATED: u8 = 14;

/// The table `[after_treatment]`.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct AfterTreatment {
    /// A count on the day of a treatment, or up to this many days after it, is left out of pressure.
    pub days: u8,
    /// Where the days come from.
    pub source: String,
}
