//! What people write where one day is asked for: a week, several days, a day without its year.
//!
//! Nothing is read here; it is only classified, so that a message can say what it is. Days themselves are
//! [`crate::mapping::values::dates`]'s.

use std::sync::LazyLock;

use regex::Regex;

use crate::mapping::values::day_shapes::{THREE_NUMBERS, iso_day};

static WEEK: LazyLock<Regex> = LazyLock::new(|| {
    Regex::new(r"(?i)^(?:[0-9]{4}[\s/-]*)?(?:w|wk|week|kw)\.?\s*[0-9]{1,2}(?:[\s,/-]+[0-9]{4})?$")
        .expect("a pattern of ours compiles")
});
static SEVERAL_DAYS: LazyLock<Regex> = LazyLock::new(|| {
    Regex::new(concat!(
        r"(?i)^(?:[0-9]{1,2}[./][0-9]{1,2}(?:[./](?:[0-9]{4}|[0-9]{2})?)?|[0-9]{4}-[0-9]{2}-[0-9]{2}",
        r"|(?:jan|feb|mar|apr|may|jun|jul|aug|sep|oct|nov|dec)[[:alpha:]]*\.?\s*[0-9]{1,2}|[0-9]{1,2}\.?)",
        r"\s*(?:-|–|—|&|\+|to|and|until|bis|und)\s*",
        r"(?:[0-9]{1,2}[./][0-9]{1,2}\b|[0-9]{4}-[0-9]{2}-[0-9]{2}|[[:alpha:]]{3,9}\.?\s*[0-9]{1,2}\b|[0-9]{1,2}\.?,?(?:\s+|$))"
    ))
    .expect("a pattern of ours compiles")
});
static WITHOUT_YEAR: LazyLock<Regex> = LazyLock::new(|| {
    Regex::new(concat!(
        r"(?i)^(?:[0-9]{1,2}\s*[./-]\s*[0-9]{1,2}\.?",
        r"|(?:jan|feb|mar|apr|may|jun|jul|aug|sep|oct|nov|dec)[[:alpha:]]*\.?\s*[0-9]{1,2}",
        r"|[0-9]{1,2}\.?\s*(?:jan|feb|mar|apr|may|jun|jul|aug|sep|oct|nov|dec)[[:alpha:]]*\.?)$"
    ))
    .expect("a pattern of ours compiles")
});

/// What people write who mean no one day.
pub(in crate::mapping) fn is_no_day(text: &str) -> Option<&'static str> {
    if WEEK.is_match(text) {
        Some("the visit date, as 2026-07-21: a week is not a day")
    } else if WITHOUT_YEAR.is_match(text) {
        Some(
            "the visit date, as 2026-07-21: there is no year in it; the mapping may state it, as year = 2026",
        )
    } else if SEVERAL_DAYS.is_match(text) {
        Some("the one visit date, as 2026-07-21: these are several days")
    } else {
        None
    }
}

/// Whether a text, such as a header, is a day in some usual writing.
pub(in crate::mapping) fn is_a_day(text: &str) -> bool {
    iso_day(text.get(..10).unwrap_or(text)).is_some()
        || THREE_NUMBERS.is_match(text)
        || WITHOUT_YEAR.is_match(text)
        || WEEK.is_match(text)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::mapping::values::dates::{DateForm, read_day};
    use scouting::visit::code::Code;

    #[test]
    fn what_is_no_one_day_is_said_to_be_what_it_is() {
        let said = [
            ("week 28", "a week"),
            ("W28", "a week"),
            ("2026-W28", "a week"),
            ("wk. 28, 2026", "a week"),
            ("6/1-6/5", "several days"),
            ("6/1/2026 to 6/5/2026", "several days"),
            ("2026-07-06 - 2026-07-08", "several days"),
            ("July 6 - 10, 2026", "several days"),
            ("July 6-10", "several days"),
            ("6.-10. 7. 2026", "several days"),
            ("7/6", "no year"),
            ("7-6", "no year"),
            ("July 6", "no year"),
            ("6 July", "no year"),
        ];
        let by_format = DateForm {
            formats: vec!["%m/%d/%Y".to_owned()],
            ..DateForm::default()
        };
        for form in [DateForm::default(), by_format] {
            for (text, words) in said {
                let fault = read_day(text, &form).unwrap_err();
                assert_eq!(fault.code, Code::DateUnreadable, "{text}");
                assert!(fault.expected.contains(words), "{text}: {}", fault.expected);
            }
        }
        let other = [
            "7/6/26",
            "7/6/2026",
            "6.7.2026",
            "6-7-2026",
            "21. 7. 2026",
            "July 6, 2026",
            "6 July 2026",
            "2026-02-30",
            "yesterday",
        ];
        for text in other {
            assert_eq!(is_no_day(text), None, "{text}");
        }
        for text in [
            "2026-07-20",
            "2026-07-20T00:00:00",
            "7/20/2026",
            "7/20",
            "W28",
        ] {
            assert!(is_a_day(text), "{text}");
        }
        for text in ["S1H1B2", "Head 2", "B1", "1", "Plant 12", "Site 1 / Side"] {
            assert!(!is_a_day(text), "{text}");
        }
        let fault = read_day("7/7/2026", &DateForm::default()).unwrap_err();
        let said = fault.expected.matches("2026-07-07").count();
        assert_eq!(said, 1, "one day either way: {}", fault.expected);
    }
}
