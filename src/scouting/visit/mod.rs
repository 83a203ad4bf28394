//! The record: one scouting of one field on one day under one protocol.
//!
//! Pure: no file, no clock, no Arrow and no other module of ours.

pub mod code;
mod conforms;
pub mod count;
pub mod dates;
pub mod economics;
pub mod finding;
pub mod heads;
pub mod held_id;
pub mod members;
mod reading;
pub mod record;
pub mod rows;
pub mod rules;
pub mod sampling;
pub mod stage;
mod tree;
pub mod units;
pub mod week;
pub mod words;
pub mod zones;
