//! Days and points in time, from text by stated formats and from the serial numbers of spreadsheets.
//!
//! Formats are those of strptime as the library jiff has them: `%m/%d/%Y`. Without a format only
//! ISO 8601 and RFC 3339 are read; `6/7/2026` is held with both of its readings.

use jiff::civil::{Date, DateTime, Time, date};
use jiff::fmt::strtime::BrokenDownTime;
use jiff::tz::Offset;
use jiff::{Span, Timestamp};

use crate::mapping::values::day_shapes::{THREE_NUMBERS, iso_day};
use crate::mapping::values::month_names::in_english;
use crate::mapping::values::no_day::is_no_day;
use crate::mapping::values::numbers::Fault;
use scouting::visit::code::Code;

/// How a mapping says that dates are written.
#[derive(Debug, Clone, Default)]
pub(in crate::mapping) struct DateForm {
    /// strptime formats; `default` is ISO 8601. Empty: ISO 8601 alone.
    pub formats: Vec<String>,
    /// What a bare number in a date column counts from.
    pub system: Option<DateSystem>,
    /// Offset of times without a zone.
    pub offset: Option<Offset>,
    /// The year of days that are written without one.
    pub year: Option<i16>,
    /// Time of day, for points in time of which only the day is given.
    pub time_of_day: Option<Time>,
}

/// What the serial numbers of a workbook count from.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(in crate::mapping) enum DateSystem {
    /// 1 is January 1, 1900, and 60 a day that was none.
    From1900,
    /// 0 is January 1, 1904.
    From1904,
}

/// The name that a mapping gives to ISO 8601 in a list of formats.
pub(in crate::mapping) const ISO: &str = "default";
/// A year before this one was written with two digits.
const YEAR_MIN: i16 = 1000;

/// Whether a format gives a whole day, with the year that the mapping states: it is tried on two.
pub(in crate::mapping) fn format_is_whole(format: &str, year: Option<i16>) -> bool {
    if format == ISO {
        return year.is_none();
    }
    let has_year = ["%Y", "%y", "%F", "%D", "%G"]
        .iter()
        .any(|part| format.contains(part));
    if year.is_some() && has_year {
        return false;
    }
    let format = &with_year(format, year, "%Y");
    // Neither a day that could be a month, nor a year that could be another century.
    [
        date(2026, 7, 21).at(13, 3, 0, 0),
        date(2031, 12, 30).at(1, 45, 0, 0),
    ]
    .into_iter()
    .all(|moment| {
        let text = moment
            .to_zoned_datetime(jiff::tz::TimeZone::UTC)
            .and_then(|zoned| jiff::fmt::strtime::format(format, &zoned));
        text.and_then(|text| BrokenDownTime::parse(format, &text)?.to_date())
            .is_ok_and(|day| day == moment.date())
    })
}

fn names_time(format: &str) -> bool {
    ["%H", "%I", "%T", "%R", "%-H", "%-I", "%r", "%c"]
        .iter()
        .any(|part| format.contains(part))
}

/// Reads a day from text.
pub(in crate::mapping) fn read_day(text: &str, form: &DateForm) -> Result<Date, Fault> {
    let iso = form.formats.is_empty() || form.formats.iter().any(|format| format == ISO);
    let mut readings: Vec<Date> = Vec::new();
    let mut add = |reading: Option<Date>| {
        if let Some(day) = reading
            && !readings.contains(&day)
        {
            readings.push(day);
        }
    };
    if iso {
        add(iso_day(text));
    }
    for format in form.formats.iter().filter(|format| *format != ISO) {
        add(by_format(text, format, form.year)
            .and_then(|parsed| parsed.to_date().ok())
            .filter(|day| day.year() >= YEAR_MIN));
    }
    match readings.as_slice() {
        [day] => Ok(*day),
        [] => Err(unreadable_day(text, form)),
        several => {
            let days: Vec<String> = several.iter().map(Date::to_string).collect();
            Err(Fault::new(
                Code::DateAmbiguous,
                format!(
                    "an unambiguous date: the formats of the mapping read {}",
                    days.join(" or ")
                ),
            ))
        }
    }
}

/// A format or a text with the year that the mapping states after it.
fn with_year(text: &str, year: Option<i16>, written: &str) -> String {
    match year {
        Some(_) => format!("{text} {written}"),
        None => text.to_owned(),
    }
}

/// What strptime makes of a text, as it is written or with the names of months and days in English.
fn by_format(text: &str, format: &str, year: Option<i16>) -> Option<BrokenDownTime> {
    let written = year.map_or_else(String::new, |year| year.to_string());
    let full_format = with_year(format, year, "%Y");
    let read =
        |text: &str| BrokenDownTime::parse(&full_format, with_year(text, year, &written)).ok();
    read(text).or_else(|| read(&in_english(text, format)))
}

/// Says why, with the readings of `6/7/2026` if the mapping states no format.
fn unreadable_day(text: &str, form: &DateForm) -> Fault {
    if let Some(expected) = is_no_day(text).filter(|_| form.year.is_none()) {
        return Fault::new(Code::DateUnreadable, expected);
    }
    if !form.formats.is_empty() {
        return Fault::new(
            Code::DateUnreadable,
            format!(
                "a date as the mapping says: {}{}",
                form.formats.join(" or "),
                more_of_formats(text, form)
            ),
        );
    }
    let Some(numbers) = THREE_NUMBERS.captures(text) else {
        return Fault::new(
            Code::DateUnreadable,
            "a date as 2026-07-21, or the mapping says in which format",
        );
    };
    let number = |place: usize| numbers[place].parse::<i16>().unwrap_or(0);
    let year = if numbers[3].len() == 2 {
        number(3) + 2000
    } else {
        number(3)
    };
    let day = |month: i16, day: i16| Date::new(year, month as i8, day as i8).ok();
    let year_directive = if numbers[3].len() == 2 { "%y" } else { "%Y" };
    let month_first = (day(number(1), number(2)), "%m", "%d");
    let day_first = (day(number(2), number(1)), "%d", "%m");
    let ways = match month_first.0 == day_first.0 {
        true => vec![month_first],
        false => vec![month_first, day_first],
    };
    let readings: Vec<String> = ways
        .into_iter()
        .filter_map(|(day, first, second)| {
            Some(format!(
                "{} if format = \"{first}/{second}/{year_directive}\"",
                day?
            ))
        })
        .collect();
    match readings.as_slice() {
        [] => Fault::new(Code::DateUnreadable, "a day that exists, as 2026-07-21"),
        [one] => Fault::new(
            Code::DateUnreadable,
            format!("a date as 2026-07-21, or the mapping says the format: {one}"),
        ),
        _ => Fault::new(
            Code::DateAmbiguous,
            format!(
                "an unambiguous date: {}; the mapping says which",
                readings.join(", or ")
            ),
        ),
    }
}

/// What may be the cause if no format of the mapping reads a text.
fn more_of_formats(text: &str, form: &DateForm) -> &'static str {
    let has_short_year = form.formats.iter().any(|format| {
        by_format(text, format, form.year)
            .and_then(|parsed| parsed.to_date().ok())
            .is_some_and(|day| day.year() < YEAR_MIN)
    });
    let names_no_month = !form
        .formats
        .iter()
        .any(|format| format.contains("%b") || format.contains("%B"));
    if has_short_year {
        "; a year of two digits is %y"
    } else if names_no_month && text.chars().any(char::is_alphabetic) {
        "; the name of a month is %B; a text that no format reads can be given its day by values"
    } else {
        "; format may list several, and a text that none reads can be given its day by values"
    }
}

/// The day of a serial number.
pub(in crate::mapping) fn serial_day(serial: f64, form: &DateForm) -> Result<Date, Fault> {
    let Some(system) = form.system else {
        let reading = |system| match day_of(serial, system) {
            Some(day) => day.to_string(),
            None => "no day".to_owned(),
        };
        return Err(Fault::new(
            Code::DateIsANumber,
            format!(
                "a date; as a serial number it is {} (dateSystem = 1900) or {} (dateSystem = 1904), the mapping says which",
                reading(DateSystem::From1900),
                reading(DateSystem::From1904)
            ),
        ));
    };
    day_of(serial, system)
        .ok_or_else(|| Fault::new(Code::DateUnreadable, "a serial number of a day that exists"))
}

fn day_of(serial: f64, system: DateSystem) -> Option<Date> {
    let days = serial.floor();
    let (origin, days) = match system {
        // Serial 60 is February 29, 1900, which no calendar has: days after it count one too many.
        DateSystem::From1900 if days > 60.0 => (date(1899, 12, 30), days),
        DateSystem::From1900 if (1.0..60.0).contains(&days) => (date(1899, 12, 31), days),
        DateSystem::From1904 if days >= 0.0 => (date(1904, 1, 1), days),
        _ => return None,
    };
    // No date of a spreadsheet is beyond this.
    (days < 3_000_000.0)
        .then(|| origin.checked_add(Span::new().days(days as i64)).ok())
        .flatten()
}

/// Reads a point in time from text, as RFC 3339 writes it.
pub(in crate::mapping) fn read_instant(text: &str, form: &DateForm) -> Result<String, Fault> {
    let iso = form.formats.is_empty() || form.formats.iter().any(|format| format == ISO);
    if iso && text.parse::<Timestamp>().is_ok() && text.as_bytes().get(10) == Some(&b'T') {
        return Ok(text.to_owned());
    }
    if iso && let Some(day) = iso_day(text) {
        return day_with_time(day, form);
    }
    let formats = form.formats.iter().filter(|format| *format != ISO);
    for format in formats {
        let Some(parsed) = by_format(text, format, form.year) else {
            continue;
        };
        if let (Some(offset), Ok(moment)) = (parsed.offset(), parsed.to_datetime()) {
            return Ok(written(moment, offset));
        }
        if let (true, Ok(moment)) = (names_time(format), parsed.to_datetime()) {
            return with_offset(moment, form);
        }
        if let Ok(day) = parsed.to_date() {
            return day_with_time(day, form);
        }
    }
    if iso
        && let Ok(moment) = text.parse::<DateTime>()
        && text.len() > 10
    {
        return with_offset(moment, form);
    }
    Err(Fault::new(
        Code::TimeUnreadable,
        "a time as 2026-07-21T18:03:00Z, or the mapping says in which format",
    ))
}

/// A day becomes a point in time by the time of day that the mapping states.
pub(in crate::mapping) fn day_with_time(day: Date, form: &DateForm) -> Result<String, Fault> {
    match form.time_of_day {
        Some(time) => with_offset(day.to_datetime(time), form),
        None => Err(Fault::new(
            Code::TimeMissing,
            "a day with a time, or the mapping states timeOfDay",
        )),
    }
}

/// A time without a zone becomes a point in time by the offset that the mapping states.
pub(in crate::mapping) fn with_offset(moment: DateTime, form: &DateForm) -> Result<String, Fault> {
    match form.offset {
        Some(offset) => Ok(written(moment, offset)),
        None => Err(Fault::new(
            Code::TimeZoneMissing,
            "a time with its zone, or the mapping states utcOffset, as \"-05:00\"",
        )),
    }
}

fn written(moment: DateTime, offset: Offset) -> String {
    let minutes = offset.seconds() / 60;
    if minutes == 0 {
        return format!("{moment}Z");
    }
    let sign = if minutes < 0 { '-' } else { '+' };
    format!(
        "{moment}{sign}{:02}:{:02}",
        minutes.abs() / 60,
        minutes.abs() % 60
    )
}

/// `Z`, `-05:00`: an offset as a mapping states it.
pub(in crate::mapping) fn offset_of(text: &str) -> Option<Offset> {
    if text == "Z" {
        return Some(Offset::UTC);
    }
    let (hours, minutes) = text.strip_prefix(['+', '-'])?.split_once(':')?;
    let number = |part: &str, below: i32| {
        (part.len() == 2)
            .then(|| part.parse::<i32>().ok())
            .flatten()
            .filter(|number| (0..below).contains(number))
    };
    let seconds = number(hours, 24)? * 3600 + number(minutes, 60)? * 60;
    Offset::from_seconds(if text.starts_with('-') {
        -seconds
    } else {
        seconds
    })
    .ok()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn form(formats: &[&str]) -> DateForm {
        DateForm {
            formats: formats.iter().map(|format| (*format).to_owned()).collect(),
            ..DateForm::default()
        }
    }

    #[test]
    fn days_are_read_by_the_stated_format_alone() {
        let cases: [(&[&str], &str, Result<&str, Code>); 14] = [
            (&[], "2026-07-21", Ok("2026-07-21")),
            (&[], "2026-7-21", Err(Code::DateUnreadable)),
            (&[], "6/7/2026", Err(Code::DateAmbiguous)),
            (&[], "6/7/26", Err(Code::DateAmbiguous)),
            (&[], "21/7/2026", Err(Code::DateUnreadable)),
            (&[], "31/31/2026", Err(Code::DateUnreadable)),
            (&[], "June 7", Err(Code::DateUnreadable)),
            (&["%m/%d/%Y"], "6/7/2026", Ok("2026-06-07")),
            (&["%d/%m/%Y"], "6/7/2026", Ok("2026-07-06")),
            (&["%d.%m.%y"], "07.06.26", Ok("2026-06-07")),
            (&["%m/%d/%Y"], "21/7/2026", Err(Code::DateUnreadable)),
            (&["%m/%d/%Y"], "2026-07-21", Err(Code::DateUnreadable)),
            (&["%m/%d/%Y", "default"], "2026-07-21", Ok("2026-07-21")),
            (
                &["%m/%d/%Y", "%d/%m/%Y"],
                "6/7/2026",
                Err(Code::DateAmbiguous),
            ),
        ];
        for (formats, text, wanted) in cases {
            let read = read_day(text, &form(formats));
            let read = read.map(|day| day.to_string()).map_err(|fault| fault.code);
            assert_eq!(
                read.as_deref().map_err(|code| *code),
                wanted,
                "{text} by {formats:?}"
            );
        }
        let both = read_day("6/7/2026", &form(&[])).unwrap_err().expected;
        assert!(
            both.contains("2026-06-07") && both.contains("2026-07-06"),
            "{both}"
        );
    }

    #[test]
    fn serial_numbers_count_from_a_stated_day() {
        // Days as LibreOffice and Excel show them; serial 60 is the day that was none.
        let by = |system| DateForm {
            system: Some(system),
            ..DateForm::default()
        };
        let cases = [
            (DateSystem::From1900, 1.0, Some("1900-01-01")),
            (DateSystem::From1900, 59.0, Some("1900-02-28")),
            (DateSystem::From1900, 60.0, None),
            (DateSystem::From1900, 61.0, Some("1900-03-01")),
            (DateSystem::From1900, 46_224.75, Some("2026-07-21")),
            (DateSystem::From1904, 44_762.0, Some("2026-07-21")),
            (DateSystem::From1904, 0.0, Some("1904-01-01")),
            (DateSystem::From1900, -1.0, None),
            (DateSystem::From1900, 1e300, None),
        ];
        for (system, serial, wanted) in cases {
            let read = serial_day(serial, &by(system))
                .ok()
                .map(|day| day.to_string());
            assert_eq!(read.as_deref(), wanted, "{serial} {system:?}");
        }
        let fault = serial_day(46_224.0, &DateForm::default()).unwrap_err();
        assert_eq!(fault.code, Code::DateIsANumber);
        assert!(fault.expected.contains("2026-07-21") && fault.expected.contains("2030-07-22"));
    }

    #[test]
    fn a_time_needs_a_zone() {
        let mut form = form(&["default", "%m/%d/%Y %H:%M"]);
        assert_eq!(
            read_instant("2026-07-21T18:03:00Z", &form).as_deref(),
            Ok("2026-07-21T18:03:00Z")
        );
        let code =
            |text: &str, form: &DateForm| read_instant(text, form).map_err(|fault| fault.code);
        assert_eq!(code("7/21/2026 18:03", &form), Err(Code::TimeZoneMissing));
        assert_eq!(
            code("2026-07-21T18:03:00", &form),
            Err(Code::TimeZoneMissing)
        );
        assert_eq!(code("2026-07-21", &form), Err(Code::TimeMissing));
        assert_eq!(code("noon", &form), Err(Code::TimeUnreadable));
        form.offset = offset_of("-05:00");
        form.time_of_day = Some(Time::constant(23, 59, 59, 0));
        assert_eq!(
            code("7/21/2026 18:03", &form),
            Ok("2026-07-21T18:03:00-05:00".to_owned())
        );
        assert_eq!(
            code("2026-07-21", &form),
            Ok("2026-07-21T23:59:59-05:00".to_owned())
        );
    }

    #[test]
    fn a_format_that_gives_no_whole_day_is_none() {
        for whole in ["default", "%m/%d/%Y", "%d.%m.%y", "%B %d, %Y", "%Y%m%d"] {
            assert!(format_is_whole(whole, None), "{whole}");
        }
        for wrong in ["%m/%d", "%Y", "%Q-%d", "dd/mm/yyyy", "", "%H:%M"] {
            assert!(!format_is_whole(wrong, None), "{wrong}");
        }
        for whole in ["%m/%d", "%d %b"] {
            assert!(format_is_whole(whole, Some(2026)), "{whole}");
        }
        for wrong in ["%m/%d/%Y", "default", "%d"] {
            assert!(!format_is_whole(wrong, Some(2026)), "{wrong}");
        }
    }
}
