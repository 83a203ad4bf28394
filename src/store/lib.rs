//! What is stored and what follows from it: Delta tables of visits, and the SQL stages over a fixed version of them.
//!
//! [`delta`] holds the tables, [`rows`] their columns, [`ledger`] which records are known, [`alerts`] what was issued.
//! [`stages`] runs the SQL of `pipeline/stages` to field-weeks and county-weeks, all of them private. [`public`] makes the
//! rows that may be public, by the rule of the crate `disclosure`, and the tables that follow from these alone.

#![warn(unreachable_pub)]

pub mod alerts;
pub mod delta;
pub mod ledger;
pub mod public;
pub mod rows;
pub mod stages;
