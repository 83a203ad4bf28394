//! Visits → field-week → county-week, by the SQL stages in `pipeline/stages`.

pub mod arrivals;
mod certainty;
#[cfg(feature = "cluster")]
pub mod cluster;
mod clustering;
pub mod dispersion;
mod dispersion_tables;
pub mod engine;
mod grid_groups;
pub mod grid_rows;
pub mod inputs;
mod parts;
pub mod place;
mod promises;
pub mod public_rows;
pub mod public_tables;
pub mod run;
pub mod scenario;
pub mod scenario_run;
pub mod season_heat_tables;
pub mod season_so_far;
pub mod season_tables;
pub mod season_weeks;
pub mod seasons;
mod smoothing;
pub mod stage_rows;
pub mod stages;
mod standing_figure;
pub mod take_home;
mod unit_totals;
pub mod wanted;
pub mod week_heat;
pub mod windows;
