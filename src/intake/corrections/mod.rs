//! Records that were on hold and come back corrected, in columns or rows.

pub mod kept_rows;
pub mod mended;
pub(crate) mod mended_rows;
