//! ISO 8601 weeks: Monday to Sunday, week 1 holds 4 January. The season is the ISO week-year.

use std::fmt;
use std::str::FromStr;

use jiff::civil::{Date, ISOWeekDate, Weekday};

/// One ISO 8601 week of one ISO week-year, written `2026-W30`.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct IsoWeek {
    year: i16,
    week: i8,
}

impl IsoWeek {
    /// The week that holds a day.
    pub fn of(day: Date) -> IsoWeek {
        let date = day.iso_week_date();
        IsoWeek {
            year: date.year(),
            week: date.week(),
        }
    }

    /// The ISO week-year: what the design calls the season.
    pub fn season(self) -> i32 {
        i32::from(self.year)
    }

    /// Monday of the week.
    pub fn monday(self) -> Date {
        self.day(Weekday::Monday)
    }

    /// Sunday of the week.
    pub fn sunday(self) -> Date {
        self.day(Weekday::Sunday)
    }

    /// The week before; `None` before the year -9999.
    pub fn previous(self) -> Option<IsoWeek> {
        self.monday().yesterday().ok().map(IsoWeek::of)
    }

    fn day(self, weekday: Weekday) -> Date {
        ISOWeekDate::new(self.year, self.week, weekday)
            .expect("a week is only made from a date or from checked text")
            .date()
    }
}

impl FromStr for IsoWeek {
    type Err = String;

    fn from_str(text: &str) -> Result<Self, String> {
        let wrong = || format!("{text:?} is not an ISO week: write it as 2026-W30");
        let (year, week) = text.split_once("-W").ok_or_else(wrong)?;
        // Digits alone: a number's own reading would take a sign, too.
        let digits = |part: &str, length: usize| {
            part.len() == length && part.bytes().all(|byte| byte.is_ascii_digit())
        };
        if !digits(year, 4) || !digits(week, 2) {
            return Err(wrong());
        }
        let year: i16 = year.parse().map_err(|_| wrong())?;
        let week: i8 = week.parse().map_err(|_| wrong())?;
        // The whole week must exist: the calendar ends on a Friday, 9999-12-31.
        ISOWeekDate::new(year, week, Weekday::Sunday)
            .map_err(|_| format!("{text:?} does not exist: {year} has no week {week}"))?;
        Ok(IsoWeek { year, week })
    }
}

impl fmt::Display for IsoWeek {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{:04}-W{:02}", self.year, self.week)
    }
}
