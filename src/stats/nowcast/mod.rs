//! How many records are still to come, by the delays of earlier weeks.

pub mod chain_ladder;
pub mod reporting_delay;
mod reporting_pause;
