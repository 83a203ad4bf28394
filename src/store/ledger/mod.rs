//! Which records the store knows: what is new, a duplicate, in conflict, on hold or closed.

pub mod differences;
pub mod drop;
pub mod held;
pub mod identity;
pub mod known;
pub mod loads;
pub mod open_held;
pub mod reports;
pub(crate) mod taken_back;
pub(crate) mod visit_key;
