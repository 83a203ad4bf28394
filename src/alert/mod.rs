//! The weekly alert of one week and protocol: its page and text, its issue, and its way to readers.

pub(crate) mod build;
pub mod bulletin;
pub(crate) mod chosen;
pub(crate) mod confidences;
pub(crate) mod draft;
pub(crate) mod heat_note;
pub(crate) mod inputs;
pub(crate) mod issue;
pub(crate) mod map_page;
pub mod note;
pub mod page;
pub(crate) mod pest_line;
pub(crate) mod protocol_facts;
pub(crate) mod publish;
pub(crate) mod week_pages;
