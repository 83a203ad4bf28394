//! The mapping file: its TOML, and what its entries must promise each other.

pub(in crate::mapping) mod check;
pub(in crate::mapping) mod check_angle;
mod check_date;
mod check_field;
pub(in crate::mapping) mod check_selector;
pub(in crate::mapping) mod check_sources;
pub(in crate::mapping) mod file;
pub(in crate::mapping) mod mistake;
pub(in crate::mapping) mod open_questions;
