//! The two shapes of a text that may be one day: ISO 8601, and three numbers.

use std::sync::LazyLock;

use jiff::civil::Date;
use regex::Regex;

/// Three numbers that may be a day: `6/7/2026`, `6.7.26`.
pub(in crate::mapping) static THREE_NUMBERS: LazyLock<Regex> = LazyLock::new(|| {
    Regex::new(r"^([0-9]{1,2})\s*[./-]\s*([0-9]{1,2})\s*[./-]\s*([0-9]{4}|[0-9]{2})$")
        .expect("a pattern of ours compiles")
});

/// `2026-07-21` and nothing looser.
pub(in crate::mapping) fn iso_day(text: &str) -> Option<Date> {
    (text.len() == 10 && text.as_bytes()[4] == b'-')
        .then(|| text.parse().ok())
        .flatten()
}
