//! Loading: a submission becomes an account of accepted, duplicate and held records.

pub mod each;
pub mod history;
pub mod loader;
pub mod pass;
pub mod reports;
pub mod submissions;
pub mod usual;
