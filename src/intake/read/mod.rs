//! A submission opened by its content and cut into raw records.

pub mod archive;
pub mod cut;
pub mod fitting_mapping;
pub mod formats;
pub mod inner_file;
pub(crate) mod json_table;
pub mod limits;
pub mod mail;
pub mod no_records;
pub mod no_table;
pub mod not_read;
pub(crate) mod parquet_records;
pub mod raw_record;
pub mod reader;
pub mod sheets;
pub mod sorting;
pub mod submitted;
mod table_doubts;
pub(crate) mod table_records;
pub(crate) mod text_encoding;
pub(crate) mod text_table;
