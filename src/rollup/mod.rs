//! Visits → field-week → county-week, by the SQL stages in `pipeline/stages`.

mod certainty;
pub mod county_week;
mod county_week_rows;
pub mod inputs;
pub mod run;
mod smoothing;
pub mod stages;
pub mod windows;
