//! Records that were on hold and come back corrected, in columns or rows.

pub mod corrected;
pub(crate) mod corrected_rows;
pub mod kept_rows;
pub(crate) mod sent_out;
