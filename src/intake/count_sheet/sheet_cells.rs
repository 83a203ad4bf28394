//! The cells of a count sheet as members of a record.
//!
//! A cell that can only be read one way is read; any other gives a finding that names it. What a value may
//! be beyond its kind is for the schema and the rules, which the records go through like any others.

use jiff::civil::{Date, DateTime};
use serde_json::{Map, Value, json};

use crate::sheet::table::{Cell, Row};
use scouting::protocol::sheet_layout::DayForm;
use scouting::visit::code::Code;
use scouting::visit::finding::Finding;

/// What a message quotes of a cell, in characters.
const QUOTE_LENGTH_MAX: usize = 60;
/// Whole numbers up to here are exact in a cell (2 to the power of 53).
const WHOLE_MAX: f64 = 9_007_199_254_740_992.0;

/// A cell of a known column, with its place in words.
#[derive(Clone)]
pub(crate) struct Placed<'a> {
    pub(crate) cell: &'a Cell,
    /// As `Visits!D5 (Day)`.
    pub(crate) place: String,
}

impl Placed<'_> {
    /// Whether nothing is in the cell.
    pub(crate) fn is_blank(&self) -> bool {
        is_blank(self.cell)
    }

    /// A finding that names the cell and says what is in it.
    pub(crate) fn finding(&self, code: Code, pointer: &str, expected: &str) -> Finding {
        let found = format!("{}: {}", self.place, shown(self.cell));
        Finding::new(code, pointer, found, expected)
    }

    /// Refuses what is struck through or shown as a percentage.
    fn refuse_look(&self, pointer: &str) -> Result<(), Finding> {
        match self.cell {
            Cell::Struck(_) => Err(self.finding(
                Code::CellStruck,
                pointer,
                "a value that counts: the text is struck through; delete what does not count, or clear the strikethrough",
            )),
            Cell::Percent(_) => Err(self.finding(
                Code::NumberIsAPercentage,
                pointer,
                "a plain number is expected: set the format of the cell to number and look whether its value is what was meant",
            )),
            _ => Ok(()),
        }
    }

    /// Text, without white space at its ends. A whole number is its digits: an ID may be one.
    pub(crate) fn text(&self, pointer: &str) -> Result<Value, Finding> {
        self.refuse_look(pointer)?;
        match self.cell {
            Cell::Text(text) => Ok(text.trim().into()),
            Cell::Number(number) if is_whole(*number) => Ok(format!("{number}").into()),
            Cell::Date(_) | Cell::Moment(_) => Err(self.finding(
                Code::DateForText,
                pointer,
                "text is expected; did the spreadsheet turn it into a date? Put an apostrophe before it",
            )),
            _ => Err(self.finding(Code::NotText, pointer, "text is expected")),
        }
    }

    /// A number. Text is taken for one only if it is digits alone: what a dot or a comma in it means
    /// depends on who wrote it.
    pub(crate) fn number(&self, pointer: &str) -> Result<Value, Finding> {
        self.refuse_look(pointer)?;
        match self.cell {
            Cell::Number(number) => Ok(number_value(*number)),
            Cell::Text(text) => digits(text).map(Value::from).ok_or_else(|| {
                self.finding(
                    Code::TextForNumber,
                    pointer,
                    "a number alone is expected: no words, units or signs such as < or ~ next to it",
                )
            }),
            Cell::Date(_) | Cell::Moment(_) => Err(self.finding(
                Code::DateForNumber,
                pointer,
                "a number is expected; did the spreadsheet turn a fraction such as 1/2 into a date? Write 0.5",
            )),
            _ => Err(self.finding(Code::NotANumber, pointer, "a number is expected")),
        }
    }

    /// A day, as `YYYY-MM-DD`; text in the form that the sheet asks for, or in this one.
    pub(crate) fn day(&self, pointer: &str, form: DayForm) -> Result<Value, Finding> {
        self.refuse_look(pointer)?;
        match self.cell {
            Cell::Date(date) => Ok(date.to_string().into()),
            Cell::Moment(moment) => Ok(moment.date().to_string().into()),
            Cell::Text(text) => match iso_day(text.trim()).or_else(|| month_first(text, form)) {
                Some(date) => Ok(date.to_string().into()),
                None => Err(self.finding(Code::DayUnreadable, pointer, &readings(text.trim()))),
            },
            _ => Err(self.finding(
                Code::DayUnreadable,
                pointer,
                "a day is expected, as 2026-07-21",
            )),
        }
    }

    /// A time in UTC, RFC 3339; of a day alone its end. Text goes on to the schema as it is.
    pub(crate) fn instant(&self, pointer: &str) -> Result<Value, Finding> {
        self.refuse_look(pointer)?;
        match self.cell {
            Cell::Date(date) => Ok(end_of_day(&date.to_string()).into()),
            Cell::Moment(moment) => Ok(utc(*moment).into()),
            Cell::Text(text) => Ok(match iso_day(text.trim()) {
                Some(date) => end_of_day(&date.to_string()).into(),
                None => text.trim().into(),
            }),
            _ => Err(self.finding(
                Code::TimeUnreadable,
                pointer,
                "a day and a time in UTC are expected, as 2026-07-21 18:30",
            )),
        }
    }

    /// A whole number from 1, such as that of a visit or a site.
    pub(crate) fn ordinal(&self) -> Option<u64> {
        let number = match self.cell {
            Cell::Number(number) if is_whole(*number) && *number >= 1.0 => *number as u64,
            Cell::Text(text) => digits(text)?,
            _ => return None,
        };
        (number >= 1).then_some(number)
    }
}

/// The last second of a day, UTC: the time of submission where none is given.
pub(crate) fn end_of_day(day: &str) -> String {
    format!("{day}T23:59:59Z")
}

/// Whether a row holds anything.
pub(crate) fn holds_something(row: &Row) -> bool {
    !row.cells.iter().all(is_blank)
}

/// Rows as they were sent, for the person who corrects them.
pub(crate) fn as_sent(sheet: &str, header: &[Cell], rows: &[&Row]) -> Map<String, Value> {
    let cells = |cells: &[Cell]| cells.iter().map(sent).collect::<Vec<_>>();
    let rows: Vec<Value> = rows
        .iter()
        .map(|row| json!({"row": row.number, "cells": cells(&row.cells)}))
        .collect();
    Map::from_iter([
        ("sheet".to_owned(), sheet.into()),
        ("header".to_owned(), cells(header).into()),
        ("rows".to_owned(), rows.into()),
    ])
}

/// Whether a cell is empty or holds white space alone.
pub(crate) fn is_blank(cell: &Cell) -> bool {
    match cell {
        Cell::Empty => true,
        Cell::Text(text) => text.trim().is_empty(),
        _ => false,
    }
}

/// The words of a cell, with single spaces.
pub(crate) fn words(cell: &Cell) -> String {
    match cell {
        Cell::Text(text) => text.split_whitespace().collect::<Vec<_>>().join(" "),
        _ => String::new(),
    }
}

fn is_whole(number: f64) -> bool {
    number.fract() == 0.0 && number.abs() < WHOLE_MAX
}

pub(super) fn number_value(number: f64) -> Value {
    if is_whole(number) {
        // Whole and within the exact range, so the cast is exact.
        (number as i64).into()
    } else {
        number.into()
    }
}

/// Text of digits alone, up to fifteen.
fn digits(text: &str) -> Option<u64> {
    let text = text.trim();
    let plain = (1..=15).contains(&text.len()) && text.bytes().all(|byte| byte.is_ascii_digit());
    plain.then(|| text.parse().ok()).flatten()
}

fn iso_day(text: &str) -> Option<Date> {
    let form = text.len() == 10 && text.as_bytes()[4] == b'-' && text.as_bytes()[7] == b'-';
    form.then(|| text.parse().ok()).flatten()
}

/// `7/21/2026` where a sheet asks for days so.
fn month_first(text: &str, form: DayForm) -> Option<Date> {
    let parts: Vec<&str> = text.trim().split('/').collect();
    let [month, day, year] = parts[..] else {
        return None;
    };
    let plain = |part: &str, most: usize| {
        let is_number = part.bytes().all(|byte| byte.is_ascii_digit());
        (is_number && (1..=most).contains(&part.len())).then_some(())
    };
    let has_form = form == DayForm::MonthFirst && year.len() == 4;
    plain(month, 2).and(plain(day, 2)).and(plain(year, 4))?;
    has_form
        .then(|| Date::new(year.parse().ok()?, month.parse().ok()?, day.parse().ok()?).ok())
        .flatten()
}

fn utc(moment: DateTime) -> String {
    moment.strftime("%Y-%m-%dT%H:%M:%SZ").to_string()
}

/// What text that is no ISO day may mean: both readings of `6/7/2026`, chosen by nobody.
fn readings(text: &str) -> String {
    let parts: Vec<i16> = text
        .split(['/', '.', '-'])
        .map_while(|part| part.trim().parse().ok())
        .collect();
    let [one, two, year] = parts[..] else {
        return "a day is expected, as 2026-07-21".to_owned();
    };
    let day = |month: i16, day: i16| {
        let (month, day) = (i8::try_from(month).ok()?, i8::try_from(day).ok()?);
        Date::new(year, month, day)
            .ok()
            .filter(|date| date.year() >= 1000)
    };
    match (day(one, two), day(two, one)) {
        (Some(month_first), Some(day_first)) if month_first != day_first => {
            format!("is {month_first} meant, or {day_first}? Write the day so")
        }
        (Some(date), _) | (_, Some(date)) => format!("is {date} meant? Write the day so"),
        (None, None) => "a day is expected, as 2026-07-21".to_owned(),
    }
}

fn sent(cell: &Cell) -> Value {
    match cell {
        Cell::Empty => Value::Null,
        Cell::Text(text) | Cell::Broken(text) => text.as_str().into(),
        Cell::Number(number) | Cell::Percent(number) => number_value(*number),
        Cell::Struck(cell) => sent(cell),
        Cell::Truth(truth) => (*truth).into(),
        Cell::Date(date) => date.to_string().into(),
        Cell::Moment(moment) => moment.to_string().into(),
    }
}

/// What is in a cell, as a message quotes it.
pub(super) fn shown(cell: &Cell) -> String {
    match cell {
        Cell::Empty => "nothing".to_owned(),
        Cell::Text(text) if text.trim().is_empty() => "nothing".to_owned(),
        Cell::Text(text) => {
            let mut shown: String = text.chars().take(QUOTE_LENGTH_MAX).collect();
            if shown.len() < text.len() {
                shown.push('…');
            }
            format!("{shown:?}")
        }
        Cell::Number(number) => number.to_string(),
        Cell::Truth(truth) => truth.to_string(),
        Cell::Date(date) => format!("the date {date}"),
        Cell::Moment(moment) => format!("the time {moment}"),
        Cell::Broken(words) => words.clone(),
        Cell::Percent(number) => format!("{number}, shown as {}%", 100.0 * number),
        Cell::Struck(cell) => format!("{}, struck through", shown(cell)),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn placed(cell: &Cell) -> Placed<'_> {
        Placed {
            cell,
            place: "Visits!B2 (Day)".to_owned(),
        }
    }

    #[test]
    fn a_day_with_two_readings_is_chosen_by_nobody() {
        let cell = Cell::Text("6/7/2026".to_owned());
        let finding = placed(&cell)
            .day("/observed_on", DayForm::YearFirst)
            .expect_err("two readings");
        assert_eq!(finding.found, "Visits!B2 (Day): \"6/7/2026\"");
        assert!(
            finding.expected.contains("2026-06-07") && finding.expected.contains("2026-07-06"),
            "{finding}"
        );
        let cell = Cell::Text("21.7.2026".to_owned());
        let finding = placed(&cell)
            .day("/observed_on", DayForm::YearFirst)
            .expect_err("no ISO day");
        assert!(
            finding.expected.starts_with("is 2026-07-21 meant?"),
            "{finding}"
        );
        for text in ["", "é/1/2026", "99/99/9999", "July 21", "é26-07-21"] {
            let cell = Cell::Text(text.to_owned());
            assert!(
                placed(&cell)
                    .day("/observed_on", DayForm::YearFirst)
                    .is_err(),
                "{text}"
            );
        }
    }

    #[test]
    fn a_sheet_that_asks_for_the_month_first_is_read_so() {
        let day = |text: &str, form| {
            let cell = Cell::Text(text.to_owned());
            let day = placed(&cell).day("/observed_on", form);
            day.ok().and_then(|day| day.as_str().map(str::to_owned))
        };
        let us = |text| day(text, DayForm::MonthFirst);
        assert_eq!(us("6/7/2026").as_deref(), Some("2026-06-07"));
        assert_eq!(us(" 07/21/2026 ").as_deref(), Some("2026-07-21"));
        assert_eq!(us("2026-07-21").as_deref(), Some("2026-07-21"));
        for text in [
            "21/7/2026",
            "7/21/26",
            "7-21-2026",
            "7/21",
            "7/21/2026/1",
            "+7/1/2026",
            "2/30/2026",
        ] {
            assert_eq!(us(text), None, "{text}");
        }
        assert_eq!(day("7/21/2026", DayForm::YearFirst), None);
    }

    #[test]
    fn digits_alone_are_a_number_and_nothing_else_in_text_is() {
        let read = |text: &str| placed(&Cell::Text(text.to_owned())).number("/x").ok();
        assert_eq!(read(" 12 "), Some(12.into()));
        for text in ["", "1.234", "1,5", "<5", "about 3", "-1", "1e3", "½", "n/a"] {
            assert_eq!(read(text), None, "{text}");
        }
    }
}
