//! The figures of a workspace: its roll-up with the public rows, and the files that they are written to.

pub mod arrivals;
pub mod cluster;
pub mod disclosure_table;
pub mod dispersion;
pub mod dispersion_files;
pub mod dispersion_tables;
pub mod files;
pub mod grid_setting;
pub mod map;
pub mod place;
pub mod rolled_up;
pub mod setting;
pub mod sql;
pub mod week_heat;
pub mod written;
