//! The senders of a season: who reported, who has not, and how their records fared. All of it is private.

pub(crate) mod list;
pub(crate) mod missing;
pub(crate) mod missing_letter;
pub(crate) mod missing_sender;
pub(crate) mod stats;
