//! The Delta tables in a folder or a bucket: opened, appended to, queried, looked after. The only module that names Delta.

pub mod append;
pub mod compact;
pub(crate) mod data_file;
pub(crate) mod durable;
pub(crate) mod files_whole;
pub(crate) mod hashed;
pub(crate) mod listing;
pub mod private_names;
pub mod query;
pub(crate) mod query_answer;
pub(crate) mod query_limits;
pub mod snapshot;
pub mod store_figures;
pub(crate) mod table_append;
pub(crate) mod table_log;
pub mod tables;
pub mod vacuum;
pub mod verification;
pub mod week_parts;
