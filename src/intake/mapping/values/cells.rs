//! A cell → the value of a member, by what the mapping says; or why it cannot be read.
//!
//! Nothing is guessed: what can be read in two ways, or only by leaving something out, is a fault
//! that says what the mapping would have to state. Numbers are read in [`super::amounts`].

use std::collections::BTreeMap;

use jiff::civil::{Date, DateTime, Time};
use regex::Regex;
use serde_json::Value;

use crate::mapping::member::{Kind, Member};
use crate::mapping::names::{content, folded, is_blank, trimmed};
use crate::mapping::plain_text::unmarked;
use crate::mapping::utm_points::UtmZone;
use crate::mapping::values::angles::AngleForm;
use crate::mapping::values::dates::{
    DateForm, day_with_time, read_day, read_instant, serial_day, with_offset,
};
use crate::mapping::values::numbers::{Fault, NumberForm};
use crate::mapping::values::unit::Unit;
use crate::sheet::table::Cell;
use scouting::visit::code::Code;

/// Numbers beyond this lost digits in a spreadsheet, which keeps fifteen.
pub(super) const EXACT_MAX: f64 = 1e15;

/// How a column's cells are to be read.
#[derive(Debug, Clone)]
pub(in crate::mapping) struct Reading {
    /// The member that the cells are for.
    pub member: &'static Member,
    /// Texts that mean no value, folded.
    pub missing: Vec<String>,
    /// Code list: folded text → value.
    pub values: BTreeMap<String, Value>,
    /// How numbers are written.
    pub number: NumberForm,
    /// Table Schema's `bareNumber`: whether nothing may be written around a number.
    pub bare_number: bool,
    /// Texts next to a number that carry no meaning, folded.
    pub ignored_text: Vec<String>,
    /// The unit of numbers that name none.
    pub unit: Option<Unit>,
    /// Whether a cell may name its unit.
    pub unit_in_cell: bool,
    /// How degrees are written.
    pub angle: AngleForm,
    /// The zone of which the numbers are easting or northing.
    pub utm: Option<UtmZone>,
    /// How dates are written.
    pub date: DateForm,
    /// Texts for yes, folded.
    pub true_values: Vec<String>,
    /// Texts for no, folded.
    pub false_values: Vec<String>,
    /// Fewest digits of an id, filled up with zeros on the left.
    pub zero_pad: usize,
    /// The part of the cell that counts: its group `value`.
    pub part: Option<Regex>,
    /// Whether text is taken to the letter, as the plain layout marks it.
    pub verbatim: bool,
}

/// What a cell says.
#[derive(Debug, Clone, PartialEq)]
pub(in crate::mapping) struct Said {
    /// The member's value.
    pub value: Value,
    /// `acre`, `ha`, `lb` or `kg`, if the unit says it.
    pub per: Option<&'static str>,
    /// ISO 4217, if the unit says it.
    pub currency: Option<String>,
}

impl From<Value> for Said {
    fn from(value: Value) -> Said {
        Said {
            value,
            per: None,
            currency: None,
        }
    }
}

impl Reading {
    /// Reads a cell; `None` is a cell that says nothing.
    pub(crate) fn read(&self, cell: &Cell) -> Result<Option<Said>, Fault> {
        if let Cell::Broken(_) = cell {
            return Err(Fault::new(
                Code::CellBroken,
                "a value; correct the formula, or open and save the workbook so that it is calculated",
            ));
        }
        if is_blank(cell) {
            return Ok(None);
        }
        if let Cell::Struck(_) = cell {
            return Err(Fault::new(
                Code::CellStruck,
                "a value that counts: the text is struck through; delete what does not count, or clear the strikethrough",
            ));
        }
        if self.verbatim {
            return self.typed(cell).map(Some);
        }
        let cell = match self.part_of(cell)? {
            Some(part) => Cell::Text(part),
            None => cell.clone(),
        };
        if self.missing.is_empty() && self.values.is_empty() {
            return self.typed(&cell).map(Some);
        }
        let key = folded(&content(&cell));
        if self.missing.contains(&key) {
            return Ok(None);
        }
        match self.values.get(&key) {
            Some(value) if self.member.kind == Kind::Text => Ok(Some(value.clone().into())),
            Some(value) => self.typed(&cell_of(value)).map(Some),
            None => self.typed(&cell).map(Some),
        }
    }

    fn part_of(&self, cell: &Cell) -> Result<Option<String>, Fault> {
        let Some(pattern) = &self.part else {
            return Ok(None);
        };
        let text = content(cell);
        let part = pattern
            .captures(&text)
            .and_then(|groups| Some(groups.name("value")?.as_str().to_owned()));
        part.map(Some).ok_or_else(|| {
            Fault::new(
                Code::PartMissing,
                format!("a text that matches {pattern}, as the mapping says"),
            )
        })
    }

    fn typed(&self, cell: &Cell) -> Result<Said, Fault> {
        match self.member.kind {
            Kind::Text | Kind::Remarks => self.text(cell).map(Said::from),
            Kind::Day => self
                .day(cell)
                .map(|day| Value::from(day.to_string()).into()),
            Kind::Instant => self.instant(cell).map(|text| Value::from(text).into()),
            Kind::Truth => self.truth(cell).map(|truth| Value::from(truth).into()),
            Kind::Outline => self.outline(cell).map(Said::from),
            Kind::Whole => self.whole(cell).map(|number| Value::from(number).into()),
            Kind::Number(quantity) => self.number(cell, quantity),
        }
    }

    fn text(&self, cell: &Cell) -> Result<Value, Fault> {
        let text = match cell {
            Cell::Text(text) if self.verbatim => {
                return unmarked(text).map(Value::from).ok_or_else(|| {
                    Fault::new(
                        Code::TextMarkUnreadable,
                        "after '\" the rest of a JSON text",
                    )
                });
            }
            Cell::Text(text) => trimmed(text),
            _ if self.member.kind == Kind::Remarks => content(cell),
            Cell::Number(number) => self.digits(*number)?,
            Cell::Percent(_) => return Err(self.percentage()),
            Cell::Date(_) | Cell::Moment(_) => {
                return Err(Fault::new(
                    Code::DateInText,
                    format!(
                        "{}; spreadsheets turn entries such as 1-2 into dates: set the column to text and type it again",
                        self.member.expected
                    ),
                ));
            }
            _ => return Err(self.wrong_kind()),
        };
        if matches!(text.as_str(), "\"" | "''" | "〃" | "″" | "”") {
            return Err(Fault::new(
                Code::DittoUnexplained,
                "the value itself; if the mark repeats the cell above, the mapping says fillDown = true",
            ));
        }
        if looks_like_lost_digits(&text) && self.member.kind == Kind::Text {
            return Err(Fault::new(
                Code::IdLostDigits,
                "all digits of the id: set the column to text and type it again",
            ));
        }
        self.known_code(&text)?;
        Ok(Value::from(self.padded(text)))
    }

    /// A whole number in a column of text: the digits that its sender sees.
    fn digits(&self, number: f64) -> Result<String, Fault> {
        if number.abs() >= EXACT_MAX {
            return Err(Fault::new(
                Code::IdLostDigits,
                "all digits of the id, as text: spreadsheets keep fifteen of a number",
            ));
        }
        Ok(number.to_string())
    }

    /// A code list is closed: what it does not name is no value.
    fn known_code(&self, text: &str) -> Result<(), Fault> {
        let known = |value: &Value| value.as_str() == Some(text);
        if self.values.is_empty() || self.values.values().any(known) {
            return Ok(());
        }
        let codes: Vec<&str> = self.values.keys().map(String::as_str).collect();
        Err(Fault::new(
            Code::CodeUnknown,
            format!("one of the codes of the mapping: {}", codes.join(", ")),
        ))
    }

    fn padded(&self, text: String) -> String {
        let all_digits = text.bytes().all(|letter| letter.is_ascii_digit());
        if all_digits && text.len() < self.zero_pad {
            format!("{text:0>width$}", width = self.zero_pad)
        } else {
            text
        }
    }

    fn day(&self, cell: &Cell) -> Result<Date, Fault> {
        match cell {
            Cell::Date(day) => Ok(*day),
            Cell::Moment(moment) => Ok(moment.date()),
            Cell::Number(serial) => serial_day(*serial, &self.date),
            Cell::Text(text) => {
                let text = trimmed(text);
                match (read_day(&text, &self.date), text.parse()) {
                    (Err(_), Ok(serial)) if is_serial(&text) => serial_day(serial, &self.date),
                    (read, _) => read,
                }
            }
            _ => Err(self.wrong_kind()),
        }
    }

    fn instant(&self, cell: &Cell) -> Result<String, Fault> {
        match cell {
            Cell::Date(day) => day_with_time(*day, &self.date),
            // Spreadsheets keep the seconds of a time as a share of a day: never quite whole.
            Cell::Moment(moment) if moment.time() == Time::midnight() => {
                day_with_time(moment.date(), &self.date)
            }
            Cell::Moment(moment) => with_offset(to_the_second(*moment), &self.date),
            Cell::Number(_) => Err(Fault::new(
                Code::DateIsANumber,
                "a time, in a cell that the file marks as one",
            )),
            Cell::Text(text) => read_instant(&trimmed(text), &self.date),
            _ => Err(self.wrong_kind()),
        }
    }

    fn truth(&self, cell: &Cell) -> Result<bool, Fault> {
        if let Cell::Truth(truth) = cell {
            return Ok(*truth);
        }
        let text = folded(&content(cell));
        match (
            self.true_values.contains(&text),
            self.false_values.contains(&text),
        ) {
            (true, false) => Ok(true),
            (false, true) => Ok(false),
            _ => Err(Fault::new(
                Code::TruthUnreadable,
                format!(
                    "{} or {}",
                    self.true_values.join(", "),
                    self.false_values.join(", ")
                ),
            )),
        }
    }

    fn outline(&self, cell: &Cell) -> Result<Value, Fault> {
        let Cell::Text(text) = cell else {
            return Err(self.wrong_kind());
        };
        let read = crate::sheet::strict::strict_value(text.trim());
        match read {
            Ok(read) if read.repeated.is_empty() => Ok(read.value),
            _ => Err(Fault::new(
                Code::OutlineNotJson,
                "a GeoJSON Polygon as JSON text",
            )),
        }
    }

    pub(super) fn wrong_kind(&self) -> Fault {
        Fault::new(Code::WrongKind, self.member.expected)
    }
}

/// Digits that a spreadsheet gave up: `1.23E+11`. `12E4` may be an id.
fn looks_like_lost_digits(text: &str) -> bool {
    text.split_once(['e', 'E'])
        .is_some_and(|(mantissa, exponent)| {
            let digits =
                |part: &str| !part.is_empty() && part.bytes().all(|letter| letter.is_ascii_digit());
            let unsigned = exponent.strip_prefix(['+', '-']);
            (unsigned.is_some() || mantissa.contains(['.', ',']))
                && digits(&mantissa.replacen(['.', ','], "", 1))
                && digits(unsigned.unwrap_or(exponent))
        })
}

/// A serial number as a text file holds it: digits, and perhaps decimals for the time of day.
fn is_serial(text: &str) -> bool {
    let (days, share) = text.split_once('.').unwrap_or((text, "0"));
    (1..=6).contains(&days.len())
        && !share.is_empty()
        && format!("{days}{share}")
            .bytes()
            .all(|letter| letter.is_ascii_digit())
}

fn to_the_second(moment: DateTime) -> DateTime {
    moment.round(jiff::Unit::Second).unwrap_or(moment)
}

/// The value of a code list as a cell would hold it.
fn cell_of(value: &Value) -> Cell {
    match value {
        Value::Number(number) => Cell::Number(number.as_f64().unwrap_or(f64::NAN)),
        Value::Bool(truth) => Cell::Truth(*truth),
        Value::String(text) => Cell::Text(text.clone()),
        _ => Cell::Empty,
    }
}
