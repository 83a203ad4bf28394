//! The issued alerts where people read them: a folder or a bucket, with a feed, a list and a page for each week.

pub mod feed;
pub mod index_page;
pub mod place;
pub mod publishing;
pub mod rule;
pub mod week_page;
pub mod withdrawn_page;
