//! Visits → field-week → county-week, by the SQL stages in `pipeline/stages`.

mod certainty;
#[cfg(feature = "cluster")]
pub mod cluster;
mod clustering;
pub mod computed;
pub mod engine;
pub mod expression;
pub mod inputs;
mod parts;
mod promises;
pub mod public_rows;
pub mod public_tables;
pub mod run;
pub mod scenario;
pub mod scenario_run;
mod smoothing;
pub mod stage_rows;
pub mod stages;
mod standing_figure;
pub mod unit_totals;
pub mod wanted;
pub mod windows;
