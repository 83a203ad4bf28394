//! Tables → files for people and map viewers. Computes nothing but presentation.
//!
//! Reads roll-up rows and boundaries and cannot see the store: what is not in a public roll-up
//! table cannot be published by accident. What goes back to a sender is handed in record by record.

pub mod alert_page;
pub mod alert_text;
mod assumed;
pub mod cautions;
pub mod changes;
mod chart;
pub mod classes;
pub mod count_sheet;
pub mod count_sheet_page;
pub mod county_map;
mod county_table;
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
mod map_frame;
pub mod map_rows;
mod map_rules;
pub mod map_style;
pub mod mend_letter;
pub mod mend_rows;
pub mod mend_sheet;
pub mod note;
mod outline;
pub mod place;
mod pressure_bars;
pub mod qgis_style;
pub mod returned;
pub mod scenario_page;
mod season_curve;
mod sheet_entries;
pub mod sheet_words;
pub mod shown_days;
pub mod shown_names;
pub mod shown_numbers;
mod stage_bars;
pub mod still_to_come;
pub mod stop_card;
pub mod summary;
pub mod table_files;
pub mod tables;
pub mod trend_page;
pub mod unseen;
pub mod visit_files;
mod week_strip;
mod when;
pub mod wording;
pub mod worked;
