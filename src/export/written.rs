//! What `bractline export` reports: the package's tables and files, and how many rows became public with it.

use std::path::PathBuf;

use serde::Serialize;

use crate::shared::report::counted;

/// What was written.
#[derive(Debug, Serialize)]
pub(crate) struct Written {
    pub(crate) store_version: i64,
    pub(crate) level: &'static str,
    /// Rows of each table.
    pub(crate) tables: Vec<(&'static str, usize)>,
    /// Rows that became public with the package.
    pub(crate) rows_made_public: usize,
    /// Whether it goes only to somebody who agreed to its terms.
    pub(crate) private: bool,
    pub(crate) files: Vec<PathBuf>,
}

impl Written {
    /// For people.
    pub(crate) fn text(&self) -> String {
        let tables = self
            .tables
            .iter()
            .map(|(name, rows)| format!("\n  {name}: {}", counted(*rows as u64, "row", "rows")));
        let tables: String = tables.collect();
        let files = self
            .files
            .iter()
            .map(|file| format!("\n  {}", file.display()));
        let files: String = files.collect();
        let public = match self.private {
            true => "\nPRIVATE: it has rows of single fields; agree on TERMS.md with the recipient before you hand it over"
                .to_owned(),
            false => format!(
                "\n{} public with this package",
                counted(self.rows_made_public as u64, "row became", "rows became")
            ),
        };
        format!(
            "exported level {} from store version {}{tables}{public}{files}",
            self.level, self.store_version
        )
    }
}
