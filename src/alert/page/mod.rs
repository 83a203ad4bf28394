//! The bulletin as a page and as a text: words, map, table and charts. Computes nothing but presentation.

pub mod assumed;
pub mod changes;
pub mod county_map;
pub mod county_table;
pub mod html;
pub mod pressure_bars;
pub mod row_words;
pub mod season_curve;
pub mod stage_bars;
pub mod still_to_come;
pub mod summary;
pub mod text;
pub mod when;
pub mod wording;
pub mod worked;
