//! The way of the data, in one page. (Filled in as the house is built.)

pub mod failure;
pub mod sample;
pub mod visit;
