//! What a count means: how a pest is sampled, in which crop stages, and when treating pays.

pub mod catalogue;
pub mod damage;
pub mod economic_distance;
pub mod plan_threshold;
mod plausible_corners;
pub mod protocol_file;
pub mod sheet_layout;
pub mod sound;
pub mod threshold;
