//! What a command says on a terminal, and what it asks there.

pub(in crate::cli) mod confirm;
pub(in crate::cli) mod failed;
pub(in crate::cli) mod format;
pub(in crate::cli) mod panics;
