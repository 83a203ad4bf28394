//! The last check before publication: finished files against a list of public names and against what was given in
//! confidence. It judges bytes and trusts no one who made them.

pub(crate) mod folding;
mod handouts;
pub mod judge;
pub(crate) mod name_kinds;
pub(crate) mod names;
pub(crate) mod parquet_files;
pub mod pdf_words;
pub(crate) mod points;
pub(crate) mod public_files;
mod row_words;
pub(crate) mod sums;
pub(crate) mod tables;
pub(crate) mod views;
