//! The figures of a workspace: its roll-up with the public rows, and the files that they are written to.

pub mod arrivals;
pub mod disclosure_table;
pub mod dispersion;
pub mod dispersion_tables;
pub mod map;
pub mod place;
pub mod week_heat;
