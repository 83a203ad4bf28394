//! The way of the data, in one page. (Filled in as the house is built.)

pub mod failure;
pub mod publish;
pub mod region;
pub mod rollup;
pub mod visit;
