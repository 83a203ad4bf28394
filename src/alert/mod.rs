//! The weekly alert: the bulletin of one week and protocol, its page and text, its issue, and its way to readers.

pub mod build;
pub mod bulletin;
pub mod chosen;
pub mod draft;
pub mod inputs;
pub mod issue;
pub mod note;
pub mod page;
pub mod protocol_facts;
pub mod publish;
pub mod week_pages;
