//! The entomologist's note: Markdown as written, made safe for the page and the text.

pub mod bounds;
pub mod rendered;
pub mod tables;
