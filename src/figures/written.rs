//! What `bractline rollup` reports: how much was rolled up, what of it is public, and which files hold what.

use std::path::PathBuf;

use serde::Serialize;

use crate::figures::field_calls::FieldCalls;
use crate::shared::report::counted;

/// What was written.
#[derive(Debug, Serialize)]
pub(crate) struct Written {
    pub(crate) store_version: i64,
    pub(crate) county_weeks: usize,
    /// County-weeks whose fields are in public rows.
    pub(crate) in_public_rows: usize,
    /// County-weeks whose fields would be, if they were published now.
    pub(crate) not_public_yet: usize,
    /// County-weeks whose fields are in no row, public or to be.
    pub(crate) withheld: usize,
    /// How many fields could be called.
    pub(crate) fields: FieldCalls,
    /// Files of what is public.
    pub(crate) public: Vec<PathBuf>,
    /// Files for the office.
    pub(crate) private: Vec<PathBuf>,
}

impl Written {
    /// For people.
    pub(crate) fn text(&self) -> String {
        let listed = |before: &str, files: &[PathBuf]| -> String {
            files
                .iter()
                .map(|file| format!("\n  {before}{}", file.display()))
                .collect()
        };
        format!(
            "rolled up {} from store version {}: {} in public rows, {} not public yet, {} withheld\n{}{}{}",
            counted(self.county_weeks as u64, "county-week", "county-weeks"),
            self.store_version,
            self.in_public_rows,
            self.not_public_yet,
            self.withheld,
            self.fields.text(),
            listed("public: ", &self.public),
            listed("private: ", &self.private),
        )
    }
}
