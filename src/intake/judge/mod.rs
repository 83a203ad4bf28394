//! The judgement of a record: schema, rules of scouting, county.

pub mod judging;
mod schema_findings;
pub mod validate;
