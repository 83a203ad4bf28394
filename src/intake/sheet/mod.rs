//! The ground that all tables share: cells, the limits of a grid, and JSON without doubled keys.

pub(crate) mod grid;
pub mod strict;
pub mod table;
