//! Seasons compared: their course, their rank among earlier ones, and trends. Made of public rows and nothing else.

pub mod compare;
pub mod figures;
pub mod season;
pub mod season_heat_tables;
pub mod season_place;
pub mod season_so_far;
pub mod season_tables;
pub mod season_weeks;
pub mod trend_page;
pub mod week_strip;
