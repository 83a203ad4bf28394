//! Seasons compared: their course, their rank among earlier ones, and trends. Made of public rows and nothing else.

pub(crate) mod compare;
pub(crate) mod figures;
pub(crate) mod season;
pub(crate) mod season_heat_tables;
pub(crate) mod season_place;
pub mod season_so_far;
pub(crate) mod season_tables;
pub(crate) mod season_weeks;
pub(crate) mod trend_page;
pub(crate) mod week_starts;
pub(crate) mod week_strip;
