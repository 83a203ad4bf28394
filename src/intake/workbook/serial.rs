//! Days and times as workbooks hold them: numbers of days since an epoch, and ISO 8601 texts.
//!
//! Which cells are dates, the file says; nothing here makes a date of a number that is none.

use jiff::civil::{Date, DateTime, Time, date};
use jiff::{Span, ToSpan};

use crate::sheet::table::Cell;

const DAY_MILLISECONDS: f64 = 86_400_000.0;
/// December 31, 9999 in the 1900 system, the last day that spreadsheet programs show.
const SERIAL_MAX: f64 = 2_958_466.0;

/// A cell in a date's format: a day, or a day with a time.
///
/// In the 1900 system day 60 is February 29, 1900, a day that never was (kept by the first programs for
/// the sake of an older one); it is [`Cell::Broken`]. A time without a day is text, `18:03:00`.
pub(crate) fn date_cell(serial: f64, is_1904: bool) -> Cell {
    if !(0.0..SERIAL_MAX).contains(&serial) {
        return Cell::Broken(format!("{serial} in a date's format is no date"));
    }
    let (days, time) = split(serial);
    if days == 0 && time != Time::midnight() {
        return Cell::Text(clock(serial));
    }
    let epoch = match (is_1904, days) {
        (true, _) => date(1904, 1, 1),
        (false, 0) => return Cell::Broken("0 in a date's format is no date".to_owned()),
        (false, 60) => {
            return Cell::Broken("February 29, 1900 is a day that never was".to_owned());
        }
        (false, 1..60) => date(1899, 12, 31),
        (false, _) => date(1899, 12, 30),
    };
    match epoch.checked_add(days.days()) {
        Ok(day) => day_or_moment(day.to_datetime(time)),
        Err(_) => Cell::Broken(format!("{serial} in a date's format is no date")),
    }
}

/// A cell in a duration's format: text, `30:05:00` (hours, minutes, seconds).
pub(crate) fn duration_cell(serial: f64) -> Cell {
    if (0.0..SERIAL_MAX).contains(&serial) {
        Cell::Text(clock(serial))
    } else {
        Cell::Number(serial)
    }
}

/// A date in ISO 8601, with or without a time; what cannot be read stays text.
pub(crate) fn iso_date_cell(text: &str) -> Cell {
    if let Ok(day) = text.parse::<Date>()
        && !text.contains(['T', 't', ' '])
    {
        return Cell::Date(day);
    }
    text.parse::<DateTime>()
        .map_or_else(|_| Cell::Text(text.to_owned()), day_or_moment)
}

/// A duration in ISO 8601, `PT18H03M00S`, as text, `18:03:00`; what cannot be read stays as it is.
pub(crate) fn iso_duration_cell(text: &str) -> Cell {
    let seconds = text
        .parse::<Span>()
        .ok()
        .and_then(|span| span.total(jiff::Unit::Second).ok())
        .filter(|seconds| *seconds >= 0.0);
    match seconds {
        Some(seconds) => Cell::Text(clock(seconds / 86_400.0)),
        None => Cell::Text(text.to_owned()),
    }
}

fn day_or_moment(moment: DateTime) -> Cell {
    if moment.time() == Time::midnight() {
        Cell::Date(moment.date())
    } else {
        Cell::Moment(moment)
    }
}

/// Whole days and the time of the day, to the millisecond: binary fractions of a day are no exact times.
fn split(serial: f64) -> (i64, Time) {
    let milliseconds = (serial * DAY_MILLISECONDS).round() as i64;
    let day = DAY_MILLISECONDS as i64;
    let rest = milliseconds % day;
    let time = Time::midnight()
        .checked_add(rest.milliseconds())
        .expect("less than a day after midnight is the same day");
    (milliseconds / day, time)
}

fn clock(serial: f64) -> String {
    let seconds = (serial * 86_400.0).round() as i64;
    format!(
        "{:02}:{:02}:{:02}",
        seconds / 3_600,
        seconds / 60 % 60,
        seconds % 60
    )
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn days_count_from_the_epoch_of_their_system() {
        // Serial numbers as LibreOffice and openpyxl give them for these days.
        let days = [
            (46_224.0, false, date(2026, 7, 21)),
            (44_762.0, true, date(2026, 7, 21)),
            (61.0, false, date(1900, 3, 1)),
            (1.0, false, date(1900, 1, 1)),
            (0.0, true, date(1904, 1, 1)),
        ];
        for (serial, is_1904, day) in days {
            assert_eq!(date_cell(serial, is_1904), Cell::Date(day), "{serial}");
        }
    }

    #[test]
    fn times_are_rounded_to_what_was_typed() {
        let typed = date(2026, 7, 21).at(18, 3, 0, 0);
        assert_eq!(date_cell(46_224.752_083_333_33, false), Cell::Moment(typed));
        assert_eq!(
            date_cell(46_223.999_999_999_9, false),
            Cell::Date(typed.date())
        );
        assert_eq!(
            date_cell(0.752_083_333_33, false),
            Cell::Text("18:03:00".into())
        );
        assert_eq!(duration_cell(1.25), Cell::Text("30:00:00".into()));
        assert_eq!(
            iso_duration_cell("PT18H03M00S"),
            Cell::Text("18:03:00".into())
        );
        assert_eq!(iso_date_cell("2026-07-21T18:03:00"), Cell::Moment(typed));
        assert_eq!(iso_date_cell("2026-07-21"), Cell::Date(typed.date()));
        assert_eq!(iso_date_cell("July"), Cell::Text("July".into()));
    }

    #[test]
    fn what_is_no_day_is_broken() {
        for serial in [0.0, 60.0, -1.0, 1e300, f64::NAN] {
            let cell = date_cell(serial, false);
            assert!(matches!(cell, Cell::Broken(_)), "{serial}: {cell:?}");
        }
    }
}
