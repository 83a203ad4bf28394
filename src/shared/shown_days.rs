//! Days and weeks in words.

use jiff::Timestamp;
use jiff::civil::Date;

use scouting::visit::week::IsoWeek;

/// A week in words: `week 30 of 2026, July 20–26, 2026`; `None` if there is no such week.
pub(crate) fn week_in_words(iso_week: &str) -> Option<String> {
    let of_week: IsoWeek = iso_week.parse().ok()?;
    let (monday, sunday) = (of_week.monday(), of_week.sunday());
    let (year, week) = iso_week.split_once("-W")?;
    let week = week.trim_start_matches('0');
    Some(format!(
        "week {week} of {year}, {}",
        days_in_words(monday, sunday)
    ))
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

    #[test]
    fn a_week_is_said_with_its_days_across_months_and_years() {
        let says = |week| week_in_words(week).unwrap_or_default();
        assert_eq!(says("2026-W30"), "week 30 of 2026, July 20–26, 2026");
        assert_eq!(
            says("2026-W31"),
            "week 31 of 2026, July 27 – August 2, 2026"
        );
        assert_eq!(
            says("2026-W53"),
            "week 53 of 2026, December 28, 2026 – January 3, 2027"
        );
        assert_eq!(
            says("2025-W01"),
            "week 1 of 2025, December 30, 2024 – January 5, 2025"
        );
        for none in ["2025-W53", "2026-W00", "2026-30", "2026-W3", "", "+026-W30"] {
            assert_eq!(week_in_words(none), None, "{none}");
        }
    }
}
