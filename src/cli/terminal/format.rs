//! How a command reports on stdout, and what it came to.

use clap::ValueEnum;
use serde::Serialize;

use crate::shared::report;
use scouting::failure::Failure;

/// How a command ended.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(in crate::cli) enum Outcome {
    /// Done.
    Done,
    /// Done, but some records were held.
    DoneWithHeld,
}

/// How a command reports on stdout.
#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
pub(in crate::cli) enum Format {
    /// For people.
    Text,
    /// For programs: one JSON object.
    Json,
}

impl Format {
    /// Reports what a command did.
    pub(in crate::cli) fn say(
        self,
        json: &impl Serialize,
        text: impl FnOnce() -> String,
    ) -> Result<Outcome, Failure> {
        match self {
            Format::Text => report::say(&text())?,
            Format::Json => report::say_json(json)?,
        }
        Ok(Outcome::Done)
    }
}
