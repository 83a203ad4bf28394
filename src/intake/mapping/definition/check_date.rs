//! How one `[[field]]` of a mapping file says that days and times are written.

use crate::mapping::definition::file::{FieldEntry, OneOrMany, Schema};
use crate::mapping::definition::mistake::{Mistake, mistake};
use crate::mapping::member::{Kind, Member};
use crate::mapping::values::dates::{DateForm, DateSystem, format_is_whole, offset_of};

/// Checks formats, year, zone and time of day.
pub(super) fn date_form(
    entry: &FieldEntry,
    member: &Member,
    schema: &Schema,
) -> Result<DateForm, Mistake> {
    let formats = entry
        .format
        .as_ref()
        .map_or(&[][..], OneOrMany::all)
        .to_vec();
    if !matches!(member.kind, Kind::Day | Kind::Instant) {
        let is_angle = matches!(member.kind, Kind::Number(quantity) if quantity.is_angle());
        let given = (entry.format.is_some() && !is_angle)
            || entry.year.is_some()
            || entry.date_system.is_some()
            || entry.utc_offset.is_some()
            || entry.time_of_day.is_some();
        return if given {
            mistake(
                "the target is no date",
                "leave out format, year, dateSystem, utcOffset and timeOfDay",
            )
        } else {
            Ok(DateForm::default())
        };
    }
    if let Some(year) = entry.year.filter(|year| !(1000..=9999).contains(year)) {
        return mistake(format!("its year is {year}"), "write it in four figures");
    }
    if let (Some(year), true) = (entry.year, formats.is_empty()) {
        return mistake(
            format!("it states the year {year} and no format"),
            "give the format of a day without its year, as format = \"%m/%d\"",
        );
    }
    if let Some(wrong) = formats
        .iter()
        .find(|format| !format_is_whole(format, entry.year))
    {
        return mistake(
            match entry.year {
                Some(year) => format!("the format {wrong:?} and the year {year} give no whole day"),
                None => format!("the format {wrong:?} gives no whole day"),
            },
            format!(
                "use strptime's directives, as {}, or \"default\" for ISO 8601; where cells have no year, state it: year = 2026",
                in_directives(wrong)
            ),
        );
    }
    let offset = match &entry.utc_offset {
        Some(text) => match offset_of(text) {
            Some(offset) => Some(offset),
            None => {
                return mistake(
                    format!("utcOffset is {text:?}"),
                    "write Z or an offset as -05:00",
                );
            }
        },
        None => None,
    };
    let time_of_day = match &entry.time_of_day {
        Some(text) => match text.parse() {
            Ok(time) => Some(time),
            Err(_) => return mistake(format!("timeOfDay is {text:?}"), "write a time as 18:00:00"),
        },
        None => None,
    };
    let system = match entry.date_system.or(schema.date_system) {
        None => None,
        Some(1900) => Some(DateSystem::From1900),
        Some(1904) => Some(DateSystem::From1904),
        Some(other) => return mistake(format!("dateSystem is {other}"), "it is 1900 or 1904"),
    };
    Ok(DateForm {
        formats,
        year: entry.year,
        system,
        offset,
        time_of_day,
    })
}

/// A format of letters, as `mm/dd/yyyy`, in strptime's directives; an example for any other text.
fn in_directives(format: &str) -> String {
    let lower = format.to_lowercase();
    let is_of_letters = lower
        .chars()
        .all(|letter| "ymd".contains(letter) || !letter.is_alphanumeric() && letter != '%');
    let has_all = ["y", "m", "d"].iter().all(|letter| lower.contains(letter));
    if !(is_of_letters && has_all) {
        return "%m/%d/%Y".to_owned();
    }
    let letters: Vec<char> = lower.chars().collect();
    let runs = letters.chunk_by(|one, other| one == other);
    runs.map(|run| match (run[0], run.len()) {
        ('y', 1 | 2) => "%y".to_owned(),
        ('y', _) => "%Y".to_owned(),
        ('m', 1 | 2) => "%m".to_owned(),
        ('m', 3) => "%b".to_owned(),
        ('m', _) => "%B".to_owned(),
        ('d', _) => "%d".to_owned(),
        (_, _) => run.iter().collect(),
    })
    .collect()
}
