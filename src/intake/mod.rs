//! Submission → accepted, duplicate, held.

mod compound;
pub mod cut;
pub mod count_sheet;
pub mod formats;
mod grid;
pub mod identity;
pub mod judge;
pub mod load;
mod markup;
mod ods_limits;
mod package;
pub mod parquet_records;
pub mod mapping;
pub mod reader;
pub mod reports;
mod serial;
pub mod sheets;
mod sheet_cells;
mod site_counts;
pub mod strict;
pub mod table;
mod text_encoding;
pub mod text_table;
pub mod validate;
pub mod workbook;
mod xls_limits;
mod xlsx_limits;
