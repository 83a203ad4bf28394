//! Submission → accepted, duplicate, held.

pub mod formats;
pub mod identity;
pub mod judge;
pub mod load;
pub mod mapping;
pub mod reader;
pub mod strict;
pub mod table;
pub mod validate;
