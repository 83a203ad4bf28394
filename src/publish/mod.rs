//! Tables → files for people and map viewers. Computes nothing but presentation.
//!
//! Reads roll-up rows and boundaries and cannot see the store: what is not in a public roll-up
//! table cannot be published by accident.

pub mod alert_page;
mod assumed;
pub mod cautions;
pub mod drawing;
pub mod files;
pub mod geo;
mod outline;
pub mod tables;
pub mod wording;
