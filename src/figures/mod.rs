//! The figures of a workspace: its roll-up with the public rows, and the files that they are written to.

pub(crate) mod arrivals;
pub(crate) mod cluster;
pub mod described_table;
pub(crate) mod disclosure_table;
pub(crate) mod dispersion;
pub(crate) mod dispersion_files;
pub mod dispersion_tables;
pub(crate) mod field_calls;
pub(crate) mod files;
pub(crate) mod grid_setting;
mod logo;
pub mod map;
pub mod office;
pub(crate) mod place;
pub(crate) mod rolled_up;
pub(crate) mod setting;
pub(crate) mod sql;
pub(crate) mod week_heat;
pub(crate) mod week_setting;
pub(crate) mod written;
