//! From field scouts' visit records to a weekly regional pest alert.
//!
//! The way of the data has one direction, and each folder is a step of it:
//!
//! ```text
//! submissions → intake/ → store/ → rollup/ (pipeline/stages/*.sql) → publish/ → files for people
//! ```
//!
//! 1. [`intake`] reads a submission, judges each record (schema, trade rules, county), decides whether it
//!    is new, a duplicate or a conflict, and hands it on as accepted, duplicate or held.
//! 2. [`store`] keeps it: Delta tables of Parquet files. A submission counts once its receipt is
//!    committed, and every write is on the disk before the next step.
//! 3. [`rollup`] runs the SQL stages over a fixed version of the store, to field-weeks and county-weeks.
//! 4. [`publish`] turns these tables into files. It computes nothing but presentation.
//!
//! Three modules are what the steps know: [`visit`] is the record, pure; [`protocol`] says what a count
//! means; [`region`] says where. Two modules compute and know nothing else of ours: [`statistics`] says how
//! sure a figure is, [`heat`] when a crop is at its treatment stage. [`cli`] is the door, [`workspace`] knows where files lie, [`failure`] is
//! what stops a run, [`plain_file`] reads what a person named, and [`sample`] invents data for the demo, the tests and the benchmarks.

pub mod alert;
pub mod cli;
pub mod count_sheet;
pub mod demo;
pub mod export;
pub mod figures;
pub mod gate;
pub mod held;
pub mod load;
pub mod plan;
pub mod protocols;
pub mod scenario;
pub mod seasons;
pub mod shared;
pub mod workspace;

pub use disclosure;
pub use intake;
pub use scouting::{failure, phenology as heat, plain_file, protocol, region, visit};
pub use stats as statistics;
pub use store;
