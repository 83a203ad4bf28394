//! The way of the data, in one page. (Filled in as the house is built.)

pub mod cli;
pub mod failure;
pub mod intake;
pub mod protocol;
pub mod publish;
pub mod region;
pub mod rollup;
pub mod sample;
pub mod store;
pub mod visit;
pub mod workspace;
