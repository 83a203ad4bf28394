//! Visits → field-week → county-week, by the SQL stages in `pipeline/stages`.

pub mod county_week;
pub mod inputs;
pub mod run;
pub mod stages;
