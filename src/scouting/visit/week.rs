//! Weeks of seven days that start on a day of the office's choice, each named as an ISO 8601 week is.
//!
//! A week has the name of the ISO week that holds its middle, fourth day: the ISO week with most of its days. So weeks
//! that start on a Monday are the ISO weeks, and every year has the same names whatever the day. The season is the year
//! in the name. [`Weeks`] is the only place that knows which days a week has.

use std::collections::BTreeMap;
use std::fmt;
use std::str::FromStr;

use jiff::Span;
use jiff::civil::{Date, ISOWeekDate, Weekday};
use serde::{Deserialize, Serialize};

/// The name of a week, that of one ISO 8601 week of one ISO week-year, written `2026-W30`.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct IsoWeek {
    year: i16,
    week: i8,
}

impl IsoWeek {
    /// The ISO week that holds a day; which week of an office does, [`Weeks::of`] says.
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

    /// The week before; `None` before the year -9999.
    pub fn previous(self) -> Option<IsoWeek> {
        self.monday().yesterday().ok().map(IsoWeek::of)
    }

    /// Monday of the ISO week of this name.
    fn monday(self) -> Date {
        ISOWeekDate::new(self.year, self.week, Weekday::Monday)
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

/// The day on which weeks start, Monday unless an office says otherwise.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(try_from = "String", into = "String")]
pub struct WeekStart(Weekday);

/// The days of the week by their names, from Monday.
const DAYS: [(&str, Weekday); 7] = [
    ("Monday", Weekday::Monday),
    ("Tuesday", Weekday::Tuesday),
    ("Wednesday", Weekday::Wednesday),
    ("Thursday", Weekday::Thursday),
    ("Friday", Weekday::Friday),
    ("Saturday", Weekday::Saturday),
    ("Sunday", Weekday::Sunday),
];

impl WeekStart {
    /// Weeks that are ISO weeks.
    pub const MONDAY: WeekStart = WeekStart(Weekday::Monday);

    /// Every day on which weeks may start, from Monday.
    pub fn all() -> impl Iterator<Item = WeekStart> {
        DAYS.into_iter().map(|(_, day)| WeekStart(day))
    }

    /// Whether the weeks are ISO weeks.
    pub fn is_monday(&self) -> bool {
        *self == WeekStart::MONDAY
    }

    /// Days from the Monday of an ISO week to the first day of the week of the same name: 3 back to 3 on, so that the
    /// middle day is in both.
    fn days_after_monday(self) -> i64 {
        let days = i64::from(self.0.to_monday_zero_offset());
        if days > 3 { days - 7 } else { days }
    }
}

impl Default for WeekStart {
    fn default() -> WeekStart {
        WeekStart::MONDAY
    }
}

impl fmt::Display for WeekStart {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let (name, _) = DAYS[usize::from(self.0.to_monday_zero_offset().unsigned_abs())];
        f.write_str(name)
    }
}

impl From<WeekStart> for String {
    fn from(start: WeekStart) -> String {
        start.to_string()
    }
}

impl TryFrom<String> for WeekStart {
    type Error = String;

    fn try_from(text: String) -> Result<WeekStart, String> {
        let mut days = DAYS.into_iter();
        days.find(|(name, _)| name.eq_ignore_ascii_case(&text))
            .map(|(_, day)| WeekStart(day))
            .ok_or_else(|| {
                let names = DAYS.map(|(name, _)| name).join(", ");
                format!("{text:?} is no day on which weeks can start: write one of {names}")
            })
    }
}

/// The weeks of an office: which days each has. A season has one kind of week; where two seasons in turn have different
/// ones, the first week of the later one is shorter or longer, so that every day is in exactly one week.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Weeks {
    start: WeekStart,
    of_seasons: BTreeMap<i32, WeekStart>,
}

impl Weeks {
    /// ISO weeks in every season.
    pub const ISO: Weeks = Weeks {
        start: WeekStart::MONDAY,
        of_seasons: BTreeMap::new(),
    };

    /// Weeks that start on a day, in every season but some, which have a start of their own.
    pub fn new(start: WeekStart, of_seasons: impl IntoIterator<Item = (i32, WeekStart)>) -> Weeks {
        Weeks {
            start,
            of_seasons: of_seasons.into_iter().collect(),
        }
    }

    /// The day on which the weeks of a season start.
    pub fn start_in(&self, season: i32) -> WeekStart {
        self.of_seasons.get(&season).copied().unwrap_or(self.start)
    }

    /// The day on which weeks start in a season without one of its own, and the seasons that have another.
    pub fn starts(&self) -> (WeekStart, impl Iterator<Item = (i32, WeekStart)>) {
        let others = self
            .of_seasons
            .iter()
            .map(|(season, start)| (*season, *start));
        (self.start, others.filter(|(_, start)| *start != self.start))
    }

    /// Whether every week of every season is an ISO week.
    pub fn are_iso_weeks(&self) -> bool {
        let mut all = self.of_seasons.values().chain([&self.start]);
        all.all(WeekStart::is_monday)
    }

    /// The week that holds a day.
    pub fn of(&self, day: Date) -> IsoWeek {
        // No first day of a season is more than three days from that of the ISO week-year.
        let mut year = IsoWeek::of(moved(day, 3)).year;
        if day < self.first_day(first_of(year)) {
            year -= 1;
        }
        let start = self.start_in(i32::from(year)).days_after_monday();
        IsoWeek::of(moved(day, -start)).max(first_of(year))
    }

    /// The first day of a week.
    pub fn first_day(&self, week: IsoWeek) -> Date {
        // The first week of a season begins where the last of the season before ends.
        let season = match week.week {
            1 => week.season() - 1,
            _ => week.season(),
        };
        moved(week.monday(), self.start_in(season).days_after_monday())
    }

    /// The middle, fourth day of a week: it is in the ISO week of the same name.
    pub fn middle_day(&self, week: IsoWeek) -> Date {
        let start = self.start_in(week.season()).days_after_monday();
        moved(week.monday(), start + 3)
    }

    /// The last day of a week.
    pub fn last_day(&self, week: IsoWeek) -> Date {
        let start = self.start_in(week.season()).days_after_monday();
        moved(week.monday(), start + 6)
    }
}

fn first_of(year: i16) -> IsoWeek {
    IsoWeek { year, week: 1 }
}

/// A day so many days later; the calendar's own first or last day where there is no such day.
fn moved(day: Date, days: i64) -> Date {
    day.saturating_add(Span::new().days(days))
}

/// A week as it is named on a command line: by its name, or by a day that it holds.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum NamedWeek {
    /// `2026-W30`.
    Name(IsoWeek),
    /// `2026-07-22`.
    Day(Date),
}

impl NamedWeek {
    /// The week of an office that is meant.
    pub fn among(self, weeks: &Weeks) -> IsoWeek {
        match self {
            NamedWeek::Name(week) => week,
            NamedWeek::Day(day) => weeks.of(day),
        }
    }
}

impl FromStr for NamedWeek {
    type Err = String;

    fn from_str(text: &str) -> Result<NamedWeek, String> {
        let is_date = text.len() == 10 && text.bytes().all(|byte| b"0123456789-".contains(&byte));
        if !is_date {
            return text
                .parse()
                .map(NamedWeek::Name)
                .map_err(|why| format!("{why}, or name a day of the week, as 2026-07-22"));
        }
        text.parse()
            .map(NamedWeek::Day)
            .map_err(|_| format!("{text:?} is no day: write year, month and day, as 2026-07-22"))
    }
}

#[cfg(test)]
mod tests {
    use jiff::ToSpan;
    use jiff::civil::date;

    use super::*;

    fn start(name: &str) -> WeekStart {
        WeekStart::try_from(name.to_owned()).expect("the name of a day")
    }

    fn week(name: &str) -> IsoWeek {
        name.parse().expect("the name of a week")
    }

    /// Every day of 41 years, among them seven with 53 weeks and every kind of year's end.
    fn days() -> impl Iterator<Item = Date> {
        date(2000, 1, 1)
            .series(1.day())
            .take_while(|day| *day <= date(2040, 12, 31))
    }

    #[test]
    fn a_week_has_seven_days_from_its_start_and_the_name_of_its_middle_day() {
        for start in WeekStart::all() {
            let weeks = Weeks::new(start, []);
            for day in days() {
                let week = weeks.of(day);
                let (first, last) = (weeks.first_day(week), weeks.last_day(week));
                assert!((first..=last).contains(&day), "{start} {day} {week}");
                assert_eq!(first.weekday(), start.0, "{start} {day}");
                assert_eq!(first + 6.days(), last, "{start} {day}");
                let middle = first + 3.days();
                assert_eq!(weeks.middle_day(week), middle);
                // jiff's own ISO week of the middle day is the outside reference.
                let iso = middle.iso_week_date();
                let name = format!("{:04}-W{:02}", iso.year(), iso.week());
                assert_eq!(week.to_string(), name, "{start} {day}");
                assert_eq!(week, IsoWeek::of(middle));
            }
        }
    }

    #[test]
    fn weeks_from_monday_are_iso_weeks() {
        let weeks = Weeks::default();
        assert!(weeks.are_iso_weeks());
        for day in days() {
            assert_eq!(weeks.of(day), IsoWeek::of(day), "{day}");
        }
    }

    #[test]
    fn weeks_of_a_thursday_office_are_known() {
        // By hand, from a calendar of 2026: August 6 is a Thursday, August 12 a Wednesday.
        let weeks = Weeks::new(start("thursday"), []);
        for (day, name) in [
            (date(2026, 8, 5), "2026-W31"),
            (date(2026, 8, 6), "2026-W32"),
            (date(2026, 8, 12), "2026-W32"),
            (date(2026, 8, 13), "2026-W33"),
            // 2026 has 53 weeks; the last ends with Wednesday, January 6.
            (date(2027, 1, 6), "2026-W53"),
            (date(2027, 1, 7), "2027-W01"),
        ] {
            assert_eq!(weeks.of(day).to_string(), name, "{day}");
        }
        assert_eq!(weeks.last_day(week("2026-W32")), date(2026, 8, 12));
    }

    #[test]
    fn every_day_is_in_one_week_where_seasons_start_on_different_days() {
        for earlier in WeekStart::all() {
            for later in WeekStart::all() {
                let weeks = Weeks::new(later, (2000..=2026).map(|season| (season, earlier)));
                let mut before = weeks.of(date(2026, 12, 1));
                for day in date(2026, 12, 1).series(1.day()).take(60) {
                    let week = weeks.of(day);
                    let (first, last) = (weeks.first_day(week), weeks.last_day(week));
                    assert!((first..=last).contains(&day), "{earlier} {later} {day}");
                    assert!(week >= before, "{earlier} {later} {day}");
                    if week > before {
                        assert_eq!(day, first, "{earlier} {later}");
                        assert_eq!(week.previous(), Some(before), "{earlier} {later}");
                    }
                    before = week;
                }
                assert_eq!(weeks.start_in(2026), earlier);
                assert_eq!(weeks.start_in(2027), later);
            }
        }
    }

    #[test]
    fn a_week_is_named_by_its_name_or_a_day() {
        let weeks = Weeks::new(start("Thursday"), []);
        let among = |text: &str| {
            let named: Result<NamedWeek, String> = text.parse();
            named.map(|named| named.among(&weeks).to_string())
        };
        assert_eq!(among("2026-W32").as_deref(), Ok("2026-W32"));
        assert_eq!(among("2026-08-12").as_deref(), Ok("2026-W32"));
        for (wrong, said) in [
            ("2026-02-30", "is no day"),
            ("2026-W54", "has no week 54"),
            ("August", "as 2026-07-22"),
        ] {
            assert!(among(wrong).unwrap_err().contains(said), "{wrong}");
        }
    }

    #[test]
    fn a_start_is_the_name_of_a_day() {
        for day in WeekStart::all() {
            assert_eq!(start(&day.to_string()), day);
        }
        let refused = WeekStart::try_from("Thu".to_owned()).unwrap_err();
        assert!(refused.contains("Wednesday, Thursday"), "{refused}");
    }
}
