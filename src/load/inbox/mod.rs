//! The files that a person named, and those of the folders, archives and mails among them, each with what it is.
//!
//! Nothing is loaded here. A file that cannot be loaded is kept with its reason, so that the account names every file.

mod collect;
pub(crate) mod files_table;
pub(crate) mod found;
mod mappings;
mod walk;

pub(crate) use collect::collect;
