//! A count sheet of ours that a scout filled in, read as visits.

pub(crate) mod draft;
mod headed_tab;
pub mod reading;
pub(crate) mod sheet_cells;
pub(crate) mod site_counts;
