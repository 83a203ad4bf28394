//! Loading: a submission becomes an account of accepted, duplicate and held records.

pub mod account;
mod chunks;
pub(crate) mod each;
mod field_ids;
pub(crate) mod history;
pub(crate) mod inbox;
pub mod loader;
pub(crate) mod own;
pub(crate) mod pass;
mod preview;
mod preview_table;
mod provenance;
pub(crate) mod reports;
mod returned;
pub(crate) mod same_day;
mod seen;
pub(crate) mod sender;
pub(crate) mod submissions;
mod usual;
