//! Submissions that were loaded: listed, and taken back.

pub(crate) mod find;
pub(crate) mod list;
pub(crate) mod undo;
pub(crate) mod undo_plan;
pub(crate) mod undo_text;
