//! Scenarios: what would follow under other economics. Private, and never an alert.

pub(crate) mod page;
pub(crate) mod run;
