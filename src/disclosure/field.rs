//! A field in a week, as disclosure control sees it: figures, and identities as hashes.

use std::fmt;

use jiff::civil::Date;
use serde::{Deserialize, Serialize};
use sha2::{Digest, Sha256};
use unicode_normalization::UnicodeNormalization;

/// Identity of a field or farm, or the state of a field: eight bytes of a SHA-256. Two of a million differ but for
/// a chance of one in forty million.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Id(u64);

impl Id {
    /// The hash of a text.
    pub fn of(text: &str) -> Id {
        let digest = Sha256::digest(text.as_bytes());
        let mut bytes = [0; 8];
        bytes.copy_from_slice(&digest[..8]);
        Id(u64::from_be_bytes(bytes))
    }

    /// A farm by its id in any spelling: case, spaces, punctuation and the form of Unicode make no other farm. `None`
    /// if nothing of the id is left.
    pub fn of_farm(id: &str) -> Option<Id> {
        let folded: String = id
            .nfkc()
            .flat_map(char::to_lowercase)
            .filter(|letter| letter.is_alphanumeric())
            .collect();
        (!folded.is_empty()).then(|| Id::of(&format!("farm {folded}")))
    }
}

impl fmt::Display for Id {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{:016x}", self.0)
    }
}

impl Serialize for Id {
    fn serialize<S: serde::Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        serializer.collect_str(self)
    }
}

impl<'de> Deserialize<'de> for Id {
    fn deserialize<D: serde::Deserializer<'de>>(deserializer: D) -> Result<Id, D::Error> {
        let text = String::deserialize(deserializer)?;
        let number = u64::from_str_radix(&text, 16);
        number.map(Id).map_err(serde::de::Error::custom)
    }
}

/// The visit that counts for a field in a week under one protocol.
#[derive(Debug, Clone, PartialEq)]
pub struct FieldWeek {
    /// The field.
    pub field: Id,
    /// Its farm; `None` where the record names none.
    pub farm: Option<Id>,
    /// County of the field's point.
    pub county_id: String,
    /// Whether the crop stage is in the protocol's window.
    pub in_window: bool,
    /// Its crop stage, vegetative stages together as `V` and R5.0 to R5.9 as `R5`.
    pub crop_stage: String,
    /// Place of that stage in the order of growth.
    pub stage_place: i32,
    /// Mean count divided by the field's own threshold; 1 = at threshold.
    pub pressure: f64,
    /// Whether its threshold is based on economics that the office assumed.
    pub economics_assumed: bool,
    /// First and last day on which it is expected at the treatment stage.
    pub treatment_days: Option<[Date; 2]>,
    /// What these days are based on: `weather` or `days`.
    pub window_basis: Option<String>,
    /// Cell of the grid of published points; `None` where only the county of the field is known.
    pub cell: Option<GridPoint>,
}

/// The middle of a cell of the grid: that fields were visited around it may be public.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct GridPoint {
    /// Id of the cell.
    pub cell: String,
    /// Longitude of its middle, degrees.
    pub lon: f64,
    /// Latitude of its middle, degrees.
    pub lat: f64,
    /// Its height and about its width, kilometers.
    pub grid_km: f64,
}

/// Less than this below a bound is at it: a field whose mean equals its threshold in decimal arithmetic often comes
/// out a last digit below 1 in binary, and a single egg changes a thousand million times as much.
pub const ROUNDING: f64 = 1e-12;

impl FieldWeek {
    /// Whether the field is at its threshold.
    pub fn at_threshold(&self) -> bool {
        self.pressure >= 1.0 - ROUNDING
    }

    /// All that a public figure is based on but the expected days, which follow the weather and not the field.
    pub fn state(&self) -> Id {
        Id::of(&format!(
            "{} {} {} {:x} {}",
            self.county_id,
            self.in_window,
            self.crop_stage,
            self.pressure.to_bits(),
            self.economics_assumed
        ))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn spellings_of_a_farm_are_one_farm() {
        let one = Id::of_farm("Farm-Vary1");
        for other in ["farm-vary1", "farm vary1", "FARM_VARY 1", "Ｆａｒｍ‑Vary¹"] {
            assert_eq!(Id::of_farm(other), one, "{other}");
        }
        assert_ne!(Id::of_farm("farm-vary2"), one);
        assert_eq!(Id::of_farm(" -- "), None);
    }

    #[test]
    fn a_hash_survives_its_text() {
        let id = Id::of("F-000123");
        let text = serde_json::to_string(&id).expect("a text");
        assert_eq!(serde_json::from_str::<Id>(&text).expect("a hash"), id);
        assert_eq!(text.len(), 18);
    }
}
