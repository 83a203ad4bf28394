//! The file of built-in counties.

pub const BUILT_IN_FILE: &str = "pipeline/boundaries/us-counties-2017.json";
