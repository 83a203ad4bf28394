//! Submission → accepted, duplicate, held.

pub mod count_sheet;
pub mod formats;
pub mod identity;
pub mod judge;
pub mod load;
pub mod reader;
mod sheet_cells;
mod site_counts;
pub mod strict;
pub mod table;
pub mod validate;
