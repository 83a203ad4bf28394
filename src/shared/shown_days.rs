//! Days and weeks in words.

use jiff::Timestamp;
use jiff::civil::Date;

use scouting::visit::week::{IsoWeek, Weeks};

/// A week in words: `week ending July 26, 2026 (July 20–26)`.
pub(crate) fn week_in_words(week: IsoWeek, weeks: &Weeks) -> String {
    let (first, last) = (weeks.first_day(week), weeks.last_day(week));
    let days = days_in_words(first, last);
    // The year is named already, unless the week has days of two.
    let days = match first.year() == last.year() {
        true => days.trim_end_matches(&format!(", {}", last.year())),
        false => &days,
    };
    format!("{} ({days})", week_ending(week, weeks))
}

/// A week in few words, by its last day: `week ending July 26, 2026`.
pub(crate) fn week_ending(week: IsoWeek, weeks: &Weeks) -> String {
    let last = weeks.last_day(week);
    format!(
        "week ending {} {}, {}",
        month(last),
        last.day(),
        last.year()
    )
}

/// The same of the name of a week, or the text itself where it names none.
pub(crate) fn named_week_in_words(iso_week: &str, weeks: &Weeks) -> String {
    iso_week
        .parse()
        .map_or_else(|_| iso_week.to_owned(), |week| week_in_words(week, weeks))
}

/// Days from one to another: `July 20–26, 2026`.
pub(crate) fn days_in_words(from: Date, to: Date) -> String {
    let start = format!("{} {}", month(from), from.day());
    let end = format!("{}, {}", to.day(), to.year());
    if from.year() != to.year() {
        format!("{start}, {} – {} {end}", from.year(), month(to))
    } else if from.month() != to.month() {
        format!("{start} – {} {end}", month(to))
    } else {
        format!("{start}–{end}")
    }
}

/// A moment to the minute: `August 12, 2026, 14:03 UTC`.
pub(crate) fn moment_in_words(moment: Timestamp) -> String {
    moment.strftime("%B %-d, %Y, %H:%M UTC").to_string()
}

/// A day of the year: `January 1`.
pub(crate) fn day_of_year_in_words((month, day): (i8, i8)) -> String {
    format!("{} {day}", month_name(month))
}

fn month(date: Date) -> &'static str {
    month_name(date.month())
}

fn month_name(month: i8) -> &'static str {
    [
        "January",
        "February",
        "March",
        "April",
        "May",
        "June",
        "July",
        "August",
        "September",
        "October",
        "November",
        "December",
    ][usize::from(month.unsigned_abs()) - 1]
}

#[cfg(test)]
mod tests {
    use super::*;
    use scouting::visit::week::WeekStart;

    #[test]
    fn a_week_is_named_by_its_last_day_across_months_and_years() {
        let thursday = WeekStart::try_from("Thursday".to_owned()).expect("a day");
        let (iso, thursday) = (Weeks::default(), Weeks::new(thursday, []));
        for (week, weeks, words) in [
            ("2026-W30", &iso, "week ending July 26, 2026 (July 20–26)"),
            (
                "2026-W31",
                &iso,
                "week ending August 2, 2026 (July 27 – August 2)",
            ),
            (
                "2026-W53",
                &iso,
                "week ending January 3, 2027 (December 28, 2026 – January 3, 2027)",
            ),
            (
                "2026-W32",
                &thursday,
                "week ending August 12, 2026 (August 6–12)",
            ),
        ] {
            assert_eq!(named_week_in_words(week, weeks), words);
        }
        let week = "2026-W32".parse().expect("a week");
        assert_eq!(week_ending(week, &thursday), "week ending August 12, 2026");
        for none in ["2025-W53", "2026-W00", "2026-30", ""] {
            assert_eq!(named_week_in_words(none, &iso), none);
        }
    }
}
