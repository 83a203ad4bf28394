//! The last check before publication: finished files against a list of public names and against what was given in
//! confidence. It judges bytes and trusts no one who made them.

pub mod folding;
pub mod judge;
pub mod name_kinds;
pub mod names;
pub mod parquet_files;
pub mod points;
pub mod sums;
pub mod tables;
pub mod views;
