//! A submission opened by its content and cut into raw records.

pub mod cut;
pub mod formats;
pub mod limits;
pub mod no_table;
pub mod parquet_records;
pub mod raw_record;
pub mod reader;
pub mod sheets;
pub mod submitted;
pub(crate) mod table_records;
pub(crate) mod text_encoding;
pub mod text_table;
