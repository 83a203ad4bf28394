//! The alert as a page and as a text: words, map, table and charts. Computes nothing but presentation.

pub(crate) mod answers;
pub(crate) mod assumed;
pub(crate) mod changes;
pub mod county_map;
pub(crate) mod county_table;
pub(crate) mod districts;
pub(crate) mod early_stages;
pub mod handout;
pub mod html;
pub(crate) mod last_week;
pub(crate) mod map_labels;
pub(crate) mod pressure_bars;
pub(crate) mod row_words;
pub(crate) mod season_curve;
pub(crate) mod stage_bars;
pub(crate) mod stage_mix;
pub(crate) mod still_to_come;
pub(crate) mod summary;
pub mod text;
pub(crate) mod when;
pub(crate) mod wording;
pub(crate) mod worked;
