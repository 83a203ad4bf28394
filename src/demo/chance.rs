//! Streams of chance from one seed, and drawn numbers rounded.

use rand::SeedableRng;
use rand_chacha::ChaCha8Rng;

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
