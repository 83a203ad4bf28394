//! The judgment of a record: schema, rules of scouting, county.

pub mod judging;
pub mod validate;
