//! Scenarios: what would follow under other economics. Private, and never an alert.

pub mod page;
pub mod run;
