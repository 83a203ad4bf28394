//! The mean of a field and how sure it is; how many sites a field needs; sequential plans.

pub mod field_mean;
pub mod field_plan;
pub mod sample_size;
pub mod share_interval;
pub mod share_over_line;
pub mod simulation;
pub mod stop_lines;
