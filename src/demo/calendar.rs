//! The days of one year as text, numbered from 0 for January 1.
//!
//! Text is made once a year, not once a visit: a generator of millions of visits lives on that.

use jiff::civil::{Date, ISOWeekDate, Weekday};

/// The days of one year.
#[derive(Debug, Clone)]
pub(crate) struct Calendar {
    days: Vec<(Date, String)>,
    year: i16,
}

impl Calendar {
    /// The days of a year from 1000 to 2999.
    ///
    /// # Panics
    /// If the year is out of range: seasons are chosen by us, never read from a file.
    pub(crate) fn of_year(year: i32) -> Self {
        assert!(
            (1000..=2999).contains(&year),
            "a season is in the years 1000 to 2999, not in {year}"
        );
        let year = year as i16;
        let days = Date::constant(year, 1, 1)
            .series(jiff::Span::new().days(1))
            .take_while(|day| day.year() == year)
            .map(|day| (day, day.to_string()))
            .collect();
        Calendar { days, year }
    }

    /// The last day's number.
    pub(crate) fn last_day(&self) -> usize {
        self.days.len() - 1
    }

    /// The day's date; days past the end of the year are its last day.
    pub(crate) fn date(&self, day: usize) -> Date {
        self.days[day.min(self.last_day())].0
    }

    /// The day as `YYYY-MM-DD`.
    pub(crate) fn text(&self, day: usize) -> &str {
        &self.days[day.min(self.last_day())].1
    }

    /// The number of a day of a month.
    pub(crate) fn day_of(&self, month: i8, day: i8) -> usize {
        self.number(Date::constant(self.year, month, day))
    }

    /// The number of an ISO week's Monday.
    ///
    /// # Panics
    /// If the Monday is in another year: nobody scouts sunflowers in the first or last week.
    pub(crate) fn monday_of_week(&self, week: i8) -> usize {
        let monday = ISOWeekDate::new(self.year, week, Weekday::Monday)
            .expect("scouting weeks are between 2 and 52")
            .date();
        assert!(
            monday.year() == self.year,
            "week {week} begins in another year"
        );
        self.number(monday)
    }

    fn number(&self, date: Date) -> usize {
        date.day_of_year() as usize - 1
    }
}

#[cfg(test)]
mod tests {
    use super::Calendar;

    #[test]
    fn weeks_begin_on_their_monday() {
        // ISO 8601: week 28 of 2024 is 8 to 14 July, of 2026 6 to 12 July.
        for (year, monday) in [(2024, "2024-07-08"), (2026, "2026-07-06")] {
            let calendar = Calendar::of_year(year);
            assert_eq!(calendar.text(calendar.monday_of_week(28)), monday);
        }
    }

    #[test]
    fn leap_years_have_their_day() {
        assert_eq!(Calendar::of_year(2024).last_day(), 365);
        assert_eq!(Calendar::of_year(2026).last_day(), 364);
        let calendar = Calendar::of_year(2024);
        assert_eq!(calendar.text(calendar.day_of(9, 30)), "2024-09-30");
    }
}
