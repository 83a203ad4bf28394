//! The issued alerts where people read them: a folder or a bucket, with a feed, a list, a page for each week, and the newest
//! alert of each pest at an address that stays.

mod around;
mod banner;
pub(crate) mod feed;
pub(crate) mod index_page;
mod judged;
mod latest;
pub(crate) mod listed;
pub(crate) mod place;
pub(crate) mod publishing;
pub(crate) mod rule;
pub(crate) mod week_page;
pub(crate) mod withdrawn_page;
