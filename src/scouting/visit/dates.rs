//! The dates and times of a visit, read from the text that its sender wrote.
//!
//! Either reading takes what the schema takes and no more.

use std::fmt;

use jiff::Timestamp;
use jiff::civil::Date;
use serde::de::{Error, Unexpected, Visitor};
use serde::{Deserialize, Deserializer, Serialize, Serializer};

/// An instant with the text that it was read from.
///
/// The text is kept because a record is hashed and given back as its sender wrote it, and because the
/// day that the sender meant is that of the text, in whatever time zone.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct WrittenInstant {
    text: String,
    day: Date,
    instant: Timestamp,
}

impl WrittenInstant {
    /// Reads RFC 3339 with capital `T` and `Z`, no leap second, up to nine decimals of a second.
    pub fn read(text: &str) -> Option<WrittenInstant> {
        let (day, rest) = text.split_once('T')?;
        let (time, tail) = rest.split_at_checked(8)?;
        let zone = tail.strip_prefix('.').map_or(Some(tail), fraction)?;
        let day = read_day(day).filter(|_| is_clock(time, 3) && is_zone(zone))?;
        Some(WrittenInstant {
            text: text.to_owned(),
            day,
            instant: text.parse().ok()?,
        })
    }

    /// The text.
    pub fn as_str(&self) -> &str {
        &self.text
    }

    /// The day that the text names, in the time zone of its sender.
    pub fn day(&self) -> Date {
        self.day
    }

    /// The instant.
    pub fn instant(&self) -> Timestamp {
        self.instant
    }
}

/// Reads `YYYY-MM-DD`, a day that exists, in the years 1000 to 2999.
fn read_day(text: &str) -> Option<Date> {
    let bytes = text.as_bytes();
    let in_form = bytes.len() == 10
        && matches!(bytes[0], b'1' | b'2')
        && bytes.iter().enumerate().all(|(place, byte)| match place {
            4 | 7 => *byte == b'-',
            _ => byte.is_ascii_digit(),
        });
    in_form.then(|| text.parse().ok()).flatten()
}

/// What follows the decimals of a second; `None` if there are none or too many.
fn fraction(decimals: &str) -> Option<&str> {
    let digits = decimals.bytes().take_while(u8::is_ascii_digit).count();
    (1..=9).contains(&digits).then(|| &decimals[digits..])
}

fn is_zone(text: &str) -> bool {
    let offset = text.strip_prefix(['+', '-']);
    text == "Z" || offset.is_some_and(|hours_minutes| is_clock(hours_minutes, 2))
}

/// Whether a text is `HH:MM`, two parts, or `HH:MM:SS`, three.
fn is_clock(text: &str, parts: usize) -> bool {
    let mut found = 0;
    let all_in_range = text.split(':').all(|part| {
        let below = if found == 0 { 24 } else { 60 };
        found += 1;
        part.len() == 2
            && part.bytes().all(|byte| byte.is_ascii_digit())
            && part.parse::<u8>().is_ok_and(|number| number < below)
    });
    all_in_range && found == parts
}

/// Reads a member that is a day, as `observed_on`.
pub(super) fn day<'de, D: Deserializer<'de>>(deserializer: D) -> Result<Date, D::Error> {
    deserializer.deserialize_str(Written {
        read: read_day,
        expected: "a day as YYYY-MM-DD",
    })
}

/// Reads a day that may be left out, but is no `null`.
pub(super) fn day_if_given<'de, D: Deserializer<'de>>(
    deserializer: D,
) -> Result<Option<Date>, D::Error> {
    day(deserializer).map(Some)
}

impl<'de> Deserialize<'de> for WrittenInstant {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<WrittenInstant, D::Error> {
        deserializer.deserialize_str(Written {
            read: WrittenInstant::read,
            expected: "a time of RFC 3339",
        })
    }
}

impl Serialize for WrittenInstant {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        serializer.serialize_str(&self.text)
    }
}

impl fmt::Display for WrittenInstant {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.text)
    }
}

/// Takes a text that a function can read.
struct Written<T> {
    read: fn(&str) -> Option<T>,
    expected: &'static str,
}

impl<T> Visitor<'_> for Written<T> {
    type Value = T;

    fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.expected)
    }

    fn visit_str<E: Error>(self, text: &str) -> Result<T, E> {
        (self.read)(text).ok_or_else(|| E::invalid_value(Unexpected::Str(text), &self))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_instant_keeps_its_text_and_the_day_of_its_sender() {
        let written = WrittenInstant::read("2026-07-21T23:30:00.250-05:00").unwrap();
        assert_eq!(written.as_str(), "2026-07-21T23:30:00.250-05:00");
        assert_eq!(written.day(), jiff::civil::date(2026, 7, 21));
        assert_eq!(written.instant().to_string(), "2026-07-22T04:30:00.25Z");
    }

    /// Each is in the form of the schema, so each must be an instant that the program can hold.
    #[test]
    fn every_time_of_the_schema_is_an_instant() {
        for day in ["1000-01-01", "2024-02-29", "2999-12-31"] {
            for time in ["00:00:00", "23:59:59", "12:00:00.1", "12:00:00.123456789"] {
                for zone in ["Z", "+00:00", "-00:00", "+23:59", "-23:59"] {
                    let text = format!("{day}T{time}{zone}");
                    assert!(WrittenInstant::read(&text).is_some(), "{text}");
                }
            }
        }
    }

    #[test]
    fn what_the_schema_refuses_is_no_day_and_no_instant() {
        for text in [
            "",
            "2026-07-21",
            "2026-07-21T",
            "2026-07-21 13:03:00Z",
            "2026-07-21t13:03:00z",
            "2026-07-21T13:03Z",
            "2026-07-21T13:03:60Z",
            "2026-07-21T24:00:00Z",
            "2026-07-21T13:03:00",
            "2026-07-21T13:03:00.Z",
            "2026-07-21T13:03:00.1234567890Z",
            "2026-07-21T13:03:00+0500",
            "2026-07-21T13:03:00+24:00",
            "2026-07-21T13:03:00+05:00[America/Chicago]",
            "2026-02-29T13:03:00Z",
            "2026-07-21T13:03:0é",
        ] {
            assert_eq!(WrittenInstant::read(text), None, "{text}");
        }
        for text in [
            "2026-7-21",
            "20260721",
            "0999-12-31",
            "3000-01-01",
            "2026-02-29",
            "2026-07-21T",
        ] {
            assert_eq!(read_day(text), None, "{text}");
        }
    }
}
