//! The mean of a field and how sure it is; how many sites a field needs; sequential plans.

pub mod clumped_mean;
pub mod cost_lines;
pub mod field_plan;
pub mod sample_size;
pub mod season_clumping;
pub mod season_means;
pub mod share_interval;
pub mod share_over_line;
pub mod simulation;
pub mod stop_lines;
