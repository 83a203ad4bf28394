//! Whether seasons differ: trend tests and the place of a season among others.

pub mod hamed_rao;
pub mod mann_kendall;
pub mod score_needed;
pub mod season_course;
pub mod season_place;
pub mod season_trend;
pub mod theil_sen;
