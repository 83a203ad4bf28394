//! The weekly alert: the bulletin of one week and protocol, its page and text, its issue, and its way to readers.

pub mod bulletin;
pub mod issue;
pub mod note;
pub mod page;
pub mod publish;
