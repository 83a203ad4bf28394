//! The week's work on alerts: all pests of the newest week drafted, looked at, issued and published with few commands; and
//! what becomes of an alert that is replaced.

mod drafts;
mod latest;
mod replaced;
mod together;
mod walk;
