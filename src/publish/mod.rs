//! Tables → files for people and map viewers. Computes nothing but presentation.
//!
//! Reads roll-up rows and boundaries and cannot see the store: what is not in a public roll-up
//! table cannot be published by accident.

pub mod alert_page;
pub mod cautions;
pub mod count_sheet;
pub mod count_sheet_page;
pub mod drawing;
pub mod files;
pub mod geo;
mod outline;
mod sheet_entries;
pub mod sheet_words;
pub mod tables;
pub mod wording;
