//! The program as a person meets it: help, exit codes, what goes to stdout and what to stderr, messages,
//! and what it makes of an empty store. The demo is in `demo.rs`.

mod causes;
mod help;
mod outcome;
mod rows_shown;
mod settings;
mod weeks_without_visits;
