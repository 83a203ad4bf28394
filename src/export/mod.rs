//! The export: a package for researchers from one version of the store, its rows chosen by level, judged by a gate of
//! its own and written.

pub mod gate;
mod grid_groups;
pub(crate) mod grid_rows;
pub(crate) mod make;
pub mod package;
mod rows;
pub(crate) mod take_home;
mod weather_tables;
mod written;
