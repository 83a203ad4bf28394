//! From visits to field-weeks and county-weeks, by the SQL stages in `pipeline/stages`.

pub(crate) mod certainty;
pub(crate) mod changed_economics;
#[cfg(feature = "cluster")]
pub mod cluster;
pub(crate) mod clustering;
pub mod computed;
pub mod engine;
pub mod expression;
pub mod files;
pub mod inputs;
pub(crate) mod promises;
pub mod rollup;
pub mod run;
pub mod run_stage;
pub mod scenario;
pub mod scenario_run;
pub(crate) mod smoothing;
pub mod stage_rows;
pub(crate) mod standing_figure;
pub mod unit_totals;
pub mod wanted;
pub mod windows;
