//! Records that were on hold and come back corrected, in columns or rows.

pub mod corrected;
pub(crate) mod corrected_rows;
pub mod kept_rows;
pub(crate) mod made_identity;
pub mod returned;
pub mod returned_header;
pub mod row_text;
mod rows_of_records;
pub mod sent_out;
pub mod units;
