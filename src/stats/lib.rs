//! Sampling statistics beyond the means of one visit: how counts scatter, how sure a figure is, how much
//! more to sample. Pure functions of numbers: no file, no clock, no Arrow, no other module of ours.

pub mod aggregation;
pub mod counts;
pub mod dispersion;
pub mod field_mean;
pub mod field_plan;
pub mod hamed_rao;
pub mod law_interval;
mod least_squares;
pub mod mann_kendall;
pub mod moran;
pub mod negative_binomial;
pub mod power_law;
pub mod reporting_delay;
mod rising_factorial;
mod root;
pub mod run_off;
pub mod sample_size;
pub mod season_course;
pub mod season_place;
pub mod season_trend;
pub mod share_interval;
pub mod short_ways_to_k;
pub mod shrinkage;
pub mod simulation;
pub mod stop_lines;
pub mod theil_sen;
pub mod variance_law;
