//! A cell with a number → the number, by its figures, its format and the text next to it.
//!
//! What a number means, its whole cell says: text that neither repeats the column nor is listed as meaningless
//! by the mapping is a fault.

use serde_json::Value;

use super::angles::read_dms;
use super::cells::{EXACT_MAX, Reading, Said};
use super::next_to_number::{Meaning, is_dollars_alone, meaning};
use super::numbers::{Fault, read_number};
use super::unit::{self, Unit};
use crate::mapping::member::{Kind, Quantity};
use crate::mapping::names::{folded, trimmed};
use crate::mapping::utm_points::range_on_grid;
use crate::sheet::table::Cell;
use scouting::visit::code::Code;
use scouting::visit::record::CountForm;

impl Reading {
    pub(super) fn whole(&self, cell: &Cell) -> Result<i64, Fault> {
        let (number, about) = self.figures(cell, (0.0, 1e9), false)?;
        if !about.is_empty() && (self.bare_number || !self.is_what_is_counted(&about)) {
            return Err(self.text_about(""));
        }
        let exact = number.fract() == 0.0 && number.abs() < EXACT_MAX;
        // The range was checked, so the cast is exact.
        exact
            .then_some(number as i64)
            .ok_or_else(|| Fault::new(Code::CountNotWhole, self.member.expected))
    }

    /// Whether text next to a count repeats what the member counts. Bracts are examined for eggs alone.
    fn is_what_is_counted(&self, about: &str) -> bool {
        self.member.count_form() == Some(CountForm::Heads)
            && matches!(folded(about).as_str(), "egg" | "eggs")
    }

    pub(super) fn number(&self, cell: &Cell, quantity: Quantity) -> Result<Said, Fault> {
        if quantity.is_angle() {
            return self
                .angle(cell, quantity)
                .map(|angle| Value::from(angle).into());
        }
        let (number, about) = self.figures(cell, quantity.range(), false)?;
        let unit = self.unit_of(&about, quantity)?;
        let Some(unit) = unit else {
            return Ok(Value::from(number).into());
        };
        Ok(Said {
            value: Value::from(unit.convert(number)),
            per: unit.per,
            currency: unit.currency,
        })
    }

    /// Degrees, or meters on a grid where the mapping says so.
    fn angle(&self, cell: &Cell, quantity: Quantity) -> Result<f64, Fault> {
        if let (Cell::Text(text), true) = (cell, self.angle.dms) {
            return read_dms(&trimmed(text), quantity, self.angle);
        }
        let range = match self.utm {
            Some(_) => range_on_grid(quantity),
            None => quantity.range(),
        };
        let (number, about) = self.figures(cell, range, true)?;
        if !about.is_empty() {
            return Err(self.text_about(""));
        }
        let is_on_grid = self.utm.is_none() || (range.0..=range.1).contains(&number);
        if !is_on_grid {
            return Err(Fault::new(
                Code::OutOfRange,
                format!(
                    "meters of the mapping's utmZone, {} to {}",
                    range.0, range.1
                ),
            ));
        }
        match self.angle.hemisphere {
            // A sign that agrees says nothing else; one that does not is another half of the earth.
            Some(stated) if number >= 0.0 => Ok(stated.signed(number)),
            Some(stated) if stated.signed(1.0) > 0.0 => Err(Fault::new(
                Code::AngleNotDecimal,
                "no minus, since the mapping states the hemisphere",
            )),
            _ => Ok(number),
        }
    }

    /// The figures of a cell and the text about them, without what the mapping ignores.
    fn figures(
        &self,
        cell: &Cell,
        range: (f64, f64),
        is_angle: bool,
    ) -> Result<(f64, String), Fault> {
        match cell {
            Cell::Number(number) => Ok((*number, String::new())),
            Cell::Percent(_) => Err(self.percentage()),
            Cell::Text(text) => {
                let read = read_number(&trimmed(text), &self.number, range, is_angle)?;
                if read.has_exponent && self.member.kind == Kind::Whole {
                    return Err(Fault::new(
                        Code::NumberUnreadable,
                        format!("{}, without an exponent", self.member.expected),
                    ));
                }
                let about = [read.before, read.after].map(|text| self.without_ignored(text));
                if names_a_month(&about) {
                    return Err(self.date_in_number());
                }
                Ok((read.value, about.join(" ").trim().to_owned()))
            }
            Cell::Date(_) | Cell::Moment(_) => Err(self.date_in_number()),
            _ => Err(self.wrong_kind()),
        }
    }

    fn without_ignored(&self, text: String) -> String {
        let key = folded(&text);
        let in_brackets = key.strip_prefix('(').and_then(|key| key.strip_suffix(')'));
        let is_ignored = |key: &str| self.ignored_text.iter().any(|ignored| ignored == key);
        match is_ignored(&key) || in_brackets.is_some_and(is_ignored) {
            true => String::new(),
            false => text,
        }
    }

    /// The unit that holds for a number with this text about it.
    fn unit_of(&self, about: &str, quantity: Quantity) -> Result<Option<Unit>, Fault> {
        if about.is_empty() {
            return match &self.unit {
                None if self.unit_in_cell => Err(Fault::new(
                    Code::UnitMissing,
                    format!("a number with its unit, as {}", unit::codes(quantity)),
                )),
                unit => Ok(unit.clone()),
            };
        }
        let named = unit::in_cell(quantity, about);
        let Some(stated) = &self.unit else {
            return match named {
                Some(named) if self.unit_in_cell => Ok(Some(named)),
                None if !self.bare_number && is_dollars_alone(quantity, about) => Ok(None),
                _ => Err(self.text_about("")),
            };
        };
        if let (Some(named), true) = (&named, self.unit_in_cell) {
            return Ok(Some(named.clone()));
        }
        match meaning(quantity, about, stated) {
            Meaning::Agrees(unit) if !self.bare_number || self.unit_in_cell => Ok(Some(unit)),
            _ if self.bare_number && named.is_some() => Err(Fault::new(
                Code::UnitInCell,
                format!(
                    "a number alone, in {}; or the mapping says unitFrom = \"cell\"",
                    stated.code
                ),
            )),
            Meaning::Agrees(_) => Err(self.text_about(
                "; where cells repeat the unit of the column, the mapping says bareNumber = false",
            )),
            Meaning::Differs if !self.bare_number => Err(Fault::new(
                Code::UnitDiffers,
                format!(
                    "an amount in {}, the unit of the mapping; if each cell names its own unit in full, the mapping says unitFrom = \"cell\"",
                    stated.code
                ),
            )),
            Meaning::Differs | Meaning::Unknown => {
                Err(self.text_about(&format!(", in {}", stated.code)))
            }
        }
    }

    /// No advice here may lead to a number that the text next to it makes another one.
    fn text_about(&self, more: &str) -> Fault {
        Fault::new(
            Code::NumberWithText,
            format!(
                "{}, with no other text in the cell{more}",
                self.member.expected
            ),
        )
    }

    fn date_in_number(&self) -> Fault {
        Fault::new(
            Code::DateInNumber,
            format!(
                "{}; spreadsheets turn entries such as 1/2 or 6-7 into dates: set the column to number and type it again",
                self.member.expected
            ),
        )
    }

    pub(super) fn percentage(&self) -> Fault {
        Fault::new(
            Code::NumberIsAPercentage,
            format!(
                "{}; the cell is formatted as a percentage: set its format to number and look whether its value is what was meant",
                self.member.expected
            ),
        )
    }
}

/// Whether text next to a number makes a day of it, as in `3-Jan`.
fn names_a_month(about: &[String; 2]) -> bool {
    let months =
        "january february march april may june july august september october november december";
    about.iter().any(|text| {
        let word = text.trim_matches(|letter: char| !letter.is_alphabetic());
        let word = word.to_lowercase();
        word.len() >= 3 && months.split(' ').any(|month| month.starts_with(&word))
    })
}
