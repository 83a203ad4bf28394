//! Submission → accepted, duplicate, held.

pub mod cut;
pub mod formats;
pub mod history;
pub mod identity;
pub mod judge;
pub mod load;
pub mod reader;
pub mod reports;
pub mod strict;
pub mod table;
pub mod usual;
pub mod validate;
