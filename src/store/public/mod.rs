//! The rows that may be public, and the tables that follow from them by the stages in `pipeline/public`.

pub mod public_rows;
pub mod public_tables;
