//! Count sheets for scouts: a workbook that `load` takes back, and a page to print.

pub(crate) mod entries;
pub mod page;
pub mod words;
pub mod workbook;
pub(crate) mod write;
