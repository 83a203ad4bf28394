//! A submission opened by its content and cut into raw records.

pub mod cut;
pub mod formats;
pub mod inbox;
pub(crate) mod json_table;
pub mod limits;
pub mod no_table;
pub mod not_read;
pub(crate) mod parquet_records;
pub mod raw_record;
pub mod reader;
pub mod sheets;
pub mod submitted;
mod table_doubts;
pub(crate) mod table_records;
pub(crate) mod text_encoding;
pub(crate) mod text_table;
