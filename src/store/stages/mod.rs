//! From visits to field-weeks and county-weeks, by the SQL stages in `pipeline/stages`.

pub(crate) mod changed_economics;
#[cfg(feature = "cluster")]
pub mod cluster;
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
pub mod stage_rows;
pub mod wanted;
