//! What is kept: Delta tables of Parquet files. The only module that names Delta.

pub mod alerts;
pub mod append;
pub mod care;
pub mod closings;
pub mod compact;
mod data_file;
pub mod drop;
mod durable;
mod files_whole;
mod hashed;
pub mod held;
pub mod known;
mod listing;
pub mod open_held;
pub mod past;
pub mod private_names;
pub mod query;
mod query_limits;
pub mod receipt;
pub mod rows;
pub mod schema;
pub mod snapshot;
mod table_log;
pub mod tables;
pub mod vacuum;
pub mod visit_sites;
pub mod week_parts;
