//! Visits → field-week → county-week → season.

pub mod county_week;
