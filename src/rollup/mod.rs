//! Visits → field-week → county-week, by the SQL stages in `pipeline/stages`.

mod certainty;
mod clustering;
pub mod county_week;
mod county_week_rows;
pub mod dispersion;
mod dispersion_tables;
pub mod inputs;
mod promises;
pub mod run;
mod smoothing;
pub mod stages;
mod unit_totals;
pub mod windows;
