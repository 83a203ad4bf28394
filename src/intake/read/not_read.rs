//! What a file holds and nobody reads: named in the account of the load, so that it is not left out in silence.

use serde::Serialize;

use crate::mapping::SheetNotRead;

/// What was left out of a file.
#[derive(Debug, Clone, Default)]
pub struct NotRead {
    /// Sheets that the mapping leaves out, though they look like those that it reads.
    pub sheets: Vec<SheetNotRead>,
    /// Columns that somebody added to a sheet of ours.
    pub columns: Vec<ColumnNotRead>,
}

/// A column that a sheet of ours does not have.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct ColumnNotRead {
    /// Name of the sheet; empty for a text file.
    pub sheet: String,
    /// Letters of the column.
    pub column: String,
    /// Its heading; empty if it has none.
    pub heading: String,
}
