//! Invented data: a fictional landscape, its fields, three seasons of visits, and the mess in which
//! records really arrive.
//!
//! The command `demo`, the tests and the benchmarks take their input from here. Everything follows
//! from a seed; nothing here is a real place, farm, person or count, and nothing here knows the
//! store. Egg counts follow an assumed model (see [`eggs`]), so no figure that is computed from this
//! data says anything about a real insect.
//!
//! The way: [`landscape`] draws counties → [`places`] puts fields into county shapes (invented or
//! real) → [`fields`] says what a field is like → [`season`] scouts it → [`mess`] and [`broken`] say
//! what becomes of each record on its way → [`stream`] gives the lines one after the other, in flat
//! memory → [`files`] sorts them into files as a coordinator would get them.

pub(crate) mod broken;
pub(crate) mod calendar;
pub(crate) mod eggs;
pub(crate) mod fields;
pub(crate) mod files;
pub mod landscape;
pub(crate) mod mess;
pub(crate) mod places;
pub(crate) mod play;
pub(crate) mod season;
pub(crate) mod stream;

use std::collections::BTreeMap;

use rand::SeedableRng;
use rand_chacha::ChaCha8Rng;

pub use files::{DemoFiles, Submission, demo_files};
pub use landscape::Landscape;
pub use mess::MessShares;
use scouting::visit::code::Code;
pub use stream::SampleLines;

/// What to invent.
#[derive(Debug, Clone, PartialEq)]
pub struct SampleOptions {
    /// The same seed gives the same bytes.
    pub seed: u64,
    /// Fields scouted in every season.
    pub fields: usize,
    /// Calendar years of the seasons.
    pub seasons: Vec<i32>,
    /// The first ISO week in which anybody scouts.
    pub first_week: i8,
    /// How many ISO weeks scouting goes on.
    pub weeks: i8,
    /// The most visits to a field in a season; each field gets from one up to so many.
    pub visits_per_field_max: usize,
    /// What goes wrong on the way, and how often.
    pub mess: MessShares,
}

impl Default for SampleOptions {
    /// The fictional region of the demo: 150 fields, three seasons, ISO weeks 28 to 32.
    fn default() -> Self {
        SampleOptions {
            seed: 23,
            fields: 150,
            seasons: vec![2024, 2025, 2026],
            first_week: 28,
            weeks: 5,
            visits_per_field_max: 5,
            mess: MessShares::demo(),
        }
    }
}

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

/// Independent streams of chance from one seed: a field can be made again without the fields before it.
#[derive(Debug, Clone)]
pub(crate) struct Chance(ChaCha8Rng);

/// What a stream of chance is for. Each purpose has streams of its own.
#[derive(Debug, Clone, Copy)]
pub(crate) enum Purpose {
    /// How much is grown where.
    Counties,
    /// Which counties and places draw more eggs in every season.
    Levels,
    /// What a farm's neighboring fields share.
    Farm(usize),
    /// What a field is like in every season.
    Field(usize),
    /// What a season is like everywhere.
    Season(i32),
    /// A field's visits in one season, and what becomes of their records.
    Visits(usize, i32),
}

impl Chance {
    pub(crate) fn new(seed: u64) -> Self {
        Chance(ChaCha8Rng::seed_from_u64(seed))
    }

    pub(crate) fn stream(&self, purpose: Purpose) -> ChaCha8Rng {
        // Three bits say the purpose, eleven the year (1 to 2047 fold without harm), the rest the number.
        let year_bits = |year: i32| u64::from(year.unsigned_abs() % 2048);
        let number = match purpose {
            Purpose::Counties => 0,
            Purpose::Levels => 5,
            Purpose::Farm(farm) => 1 | (farm as u64) << 14,
            Purpose::Field(field) => 2 | (field as u64) << 14,
            Purpose::Season(year) => 3 | year_bits(year) << 3,
            Purpose::Visits(field, year) => 4 | year_bits(year) << 3 | (field as u64) << 14,
        };
        let mut chance = self.0.clone();
        chance.set_stream(number);
        chance
    }
}

/// Rounds to so many decimals, so that the shortest text of the number has no more.
pub(crate) fn rounded(value: f64, decimals: i32) -> f64 {
    let factor = 10f64.powi(decimals);
    (value * factor).round() / factor
}
