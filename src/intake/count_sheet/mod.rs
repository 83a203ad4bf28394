//! A count sheet of ours that a scout filled in, read as visits.

mod amounts;
pub(crate) mod draft;
mod headed_tab;
mod marks;
mod printed_rows;
pub mod reading;
pub(crate) mod sheet_cells;
pub(crate) mod site_counts;
