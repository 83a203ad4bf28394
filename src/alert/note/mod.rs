//! The entomologist's note: Markdown as written, made safe for the page and the text.

pub(crate) mod bounds;
pub(crate) mod given;
pub mod rendered;
pub(crate) mod tables;
