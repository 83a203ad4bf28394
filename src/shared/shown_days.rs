//! Days and weeks in words.

use jiff::civil::Date;

use scouting::visit::week::IsoWeek;

/// A week in words: `week 30 of 2026, 20–26 July 2026`; `None` if there is no such week.
pub fn week_in_words(iso_week: &str) -> Option<String> {
    let of_week: IsoWeek = iso_week.parse().ok()?;
    let (monday, sunday) = (of_week.monday(), of_week.sunday());
    let (year, week) = iso_week.split_once("-W")?;
    let week = week.trim_start_matches('0');
    Some(format!(
        "week {week} of {year}, {}",
        days_in_words(monday, sunday)
    ))
}

/// Days from one to another: `20–26 July 2026`.
pub(crate) fn days_in_words(from: Date, to: Date) -> String {
    let end = format!("{} {} {}", to.day(), month(to), to.year());
    if from.year() != to.year() {
        format!("{} {} {} – {end}", from.day(), month(from), from.year())
    } else if from.month() != to.month() {
        format!("{} {} – {end}", from.day(), month(from))
    } else {
        format!("{}–{end}", from.day())
    }
}

/// A day of the year: `1 January`.
pub(crate) fn day_of_year_in_words((month, day): (i8, i8)) -> String {
    format!("{day} {}", month_name(month))
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
        assert_eq!(says("2026-W30"), "week 30 of 2026, 20–26 July 2026");
        assert_eq!(says("2026-W31"), "week 31 of 2026, 27 July – 2 August 2026");
        assert_eq!(
            says("2026-W53"),
            "week 53 of 2026, 28 December 2026 – 3 January 2027"
        );
        assert_eq!(
            says("2025-W01"),
            "week 1 of 2025, 30 December 2024 – 5 January 2025"
        );
        for none in ["2025-W53", "2026-W00", "2026-30", "2026-W3", "", "+026-W30"] {
            assert_eq!(week_in_words(none), None, "{none}");
        }
    }
}
