//! What `bractline rollup` reports: how much was rolled up, and which files may be published.

use std::path::PathBuf;

use serde::Serialize;

use super::report::counted;

/// What was written.
#[derive(Debug, Serialize)]
pub(super) struct Written {
    pub(super) store_version: i64,
    pub(super) county_weeks: usize,
    pub(super) suppressed: usize,
    /// Files that may be published.
    pub(super) public: Vec<PathBuf>,
    /// Files that name fields.
    pub(super) private: Vec<PathBuf>,
}

impl Written {
    /// For people.
    pub(super) fn text(&self) -> String {
        let listed = |before: &str, files: &[PathBuf]| -> String {
            files
                .iter()
                .map(|file| format!("\n  {before}{}", file.display()))
                .collect()
        };
        format!(
            "rolled up {} ({} suppressed) from store version {}{}{}",
            counted(self.county_weeks as u64, "county-week", "county-weeks"),
            self.suppressed,
            self.store_version,
            listed("", &self.public),
            listed("private: ", &self.private),
        )
    }
}
