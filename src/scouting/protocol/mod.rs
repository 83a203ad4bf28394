//! What a count means: how a pest is sampled, in which crop stages, and when treating pays.

pub mod after_treatment;
pub mod catalogue;
mod damage;
pub mod economic_distance;
pub mod kind;
mod plan_threshold;
pub mod planned;
mod plausible_corners;
pub mod protocol_file;
mod protocol_windows;
pub mod sheet_layout;
pub mod sound;
pub mod threshold;
pub mod windows;
