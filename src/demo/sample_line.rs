//! A line of invented data, and what `load` must make of it.

use std::collections::BTreeMap;

use scouting::visit::code::Code;

/// What `load` must make of a line, if the lines are loaded in order into an empty store.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Expected {
    /// Stored: a new visit, a correction or a retraction.
    Accepted,
    /// Known already, word for word or in other words; counted, not stored again.
    Duplicate,
    /// Held, with this finding code.
    Held(Code),
}

/// One line of NDJSON, without its line end.
#[derive(Debug, Clone, PartialEq)]
pub struct SampleLine {
    /// The line; not always UTF-8, not always JSON.
    pub bytes: Vec<u8>,
    /// What must become of it.
    pub expected: Expected,
    /// The day on which it reaches the coordinator.
    pub arrives_on: jiff::civil::Date,
}

/// The account that the receipts of some lines must add up to.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct ExpectedAccount {
    /// All lines.
    pub received: usize,
    /// Lines to be stored.
    pub accepted: usize,
    /// Lines known already.
    pub duplicate: usize,
    /// Lines to be held, by finding code.
    pub held: BTreeMap<Code, usize>,
}

impl ExpectedAccount {
    /// Counts one more line.
    pub fn add(&mut self, expected: Expected) {
        self.received += 1;
        match expected {
            Expected::Accepted => self.accepted += 1,
            Expected::Duplicate => self.duplicate += 1,
            Expected::Held(code) => *self.held.entry(code).or_default() += 1,
        }
    }

    /// All lines to be held, whatever the code.
    pub fn held_in_all(&self) -> usize {
        self.held.values().sum()
    }
}

impl FromIterator<Expected> for ExpectedAccount {
    fn from_iter<I: IntoIterator<Item = Expected>>(expectations: I) -> Self {
        let mut account = ExpectedAccount::default();
        expectations
            .into_iter()
            .for_each(|expected| account.add(expected));
        account
    }
}
