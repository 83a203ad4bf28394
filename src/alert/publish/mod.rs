//! The issued alerts where people read them: a folder or a bucket, with a feed, a list and a page for each week.

pub(crate) mod feed;
pub(crate) mod index_page;
pub(crate) mod place;
pub(crate) mod publishing;
pub(crate) mod rule;
pub(crate) mod week_page;
pub(crate) mod withdrawn_page;
