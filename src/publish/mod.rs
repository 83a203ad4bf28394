//! Tables → files for people and map viewers. Computes nothing but presentation.
//!
//! Reads roll-up rows and boundaries and cannot see the store: what is not in a public roll-up
//! table cannot be published by accident. What goes back to a sender is handed in record by record.

pub mod alert_page;
pub mod alert_text;
mod assumed;
pub mod cautions;
pub mod changes;
pub mod count_sheet;
pub mod count_sheet_page;
pub mod drawing;
pub mod feed;
pub mod files;
pub mod gate;
mod gate_names;
mod gate_tables;
pub mod geo;
pub mod geo_parquet;
pub mod index_page;
pub mod issue;
pub mod map_columns;
pub mod map_rows;
mod map_rules;
pub mod map_style;
pub mod mend_letter;
pub mod mend_rows;
pub mod mend_sheet;
pub mod note;
mod outline;
pub mod place;
pub mod qgis_style;
pub mod returned;
mod sheet_entries;
pub mod sheet_words;
pub mod stop_card;
pub mod table_files;
pub mod tables;
pub mod unseen;
pub mod visit_files;
mod when;
pub mod wording;
