//! The table of issued alerts and of the public rows that each made.

pub(crate) mod alert_columns;
pub(crate) mod alert_rows;
pub mod issued_alert;
pub mod table;
