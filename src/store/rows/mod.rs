//! The columns of the tables, and how rows are written to them and read from them by name.

pub mod closings;
pub mod column;
pub mod decode;
pub mod past;
pub(crate) mod query_rows;
pub mod receipt;
mod receipt_columns;
pub mod schema;
pub(crate) mod table_batch;
pub mod visit_records;
pub mod visit_sites;
pub mod written;
