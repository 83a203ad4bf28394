//! An amount of a count sheet with its unit: as the cell next to it says, as the heading says, or as the cell itself says.
//!
//! Whatever says a unit must say the same one. A heading that somebody changed to another unit is never read as the one that
//! the sheet printed.

use serde_json::Value;

use crate::count_sheet::draft::Draft;
use crate::count_sheet::headed_tab::HeadedTab;
use crate::count_sheet::sheet_cells::{Placed, number_value};
use crate::mapping::{Unit, in_cell, in_own_cell};
use crate::sheet::table::{Cell, Row};
use scouting::protocol::sheet_layout::{AREA_IN_HECTARES, DayForm, VisitColumn};
use scouting::visit::code::Code;
use scouting::visit::finding::Finding;
use scouting::visit::members::Quantity;

/// A unit and the place that says it.
struct Said {
    unit: Unit,
    place: String,
}

/// Takes an amount of the tab Visits and its unit.
pub(super) fn take_amount(
    draft: &mut Draft,
    tab: &HeadedTab<'_>,
    row: &Row,
    (amount, per): (VisitColumn, VisitColumn),
) {
    let (cell, per_cell) = (tab.cell(row, amount.place()), tab.cell(row, per.place()));
    draft
        .places
        .insert(amount.pointer().to_owned(), cell.place.clone());
    if !per.pointer().is_empty() {
        draft
            .places
            .insert(per.pointer().to_owned(), per_cell.place.clone());
    }
    if cell.is_blank() {
        draft.take(amount, &cell, DayForm::default());
        return;
    }
    let currency = tab.cell(row, VisitColumn::Currency.place());
    let (number, in_text) = match number_and_unit(amount, &cell, &currency) {
        Ok(read) => read,
        Err(finding) => return draft.findings.push(finding),
    };
    match unit_of(tab, amount, (in_text, &per_cell)) {
        Ok(unit) => {
            let value = match number.as_f64() {
                Some(plain) if unit.convert(1.0) != 1.0 => unit.convert(plain).into(),
                _ => number,
            };
            draft.set(amount.pointer(), value);
            if let Some(name) = unit.per {
                draft.set(per.pointer(), name.into());
            }
        }
        Err(finding) => {
            // The number is right where only its unit is missing, and the record has a member for that.
            if finding.pointer == per.pointer() {
                draft.set(amount.pointer(), number);
            }
            draft.findings.push(finding);
        }
    }
}

/// The unit of an amount, if all that say one say the same.
fn unit_of(
    tab: &HeadedTab<'_>,
    amount: VisitColumn,
    (in_text, per_cell): (Option<Said>, &Placed<'_>),
) -> Result<Unit, Finding> {
    let by_cell = of_cell(amount, per_cell)?;
    let by_heading = of_heading(tab, amount)?;
    let mut said = [in_text, by_cell, by_heading].into_iter().flatten();
    let Some(first) = said.next() else {
        return Err(unit_expected(Code::CellEmpty, amount, per_cell));
    };
    match said.find(|said| !said.unit.measures_as(&first.unit)) {
        None => Ok(first.unit),
        Some(other) => Err(Finding::new(
            Code::UnitDiffers,
            amount.pointer(),
            format!(
                "{} says {:?}, and {} says {:?}",
                first.place, first.unit.code, other.place, other.unit.code
            ),
            format!("one unit of {}: {}", amount.name(), units(amount)),
        )),
    }
}

fn quantity(amount: VisitColumn) -> Quantity {
    match amount {
        VisitColumn::Cost => Quantity::MoneyPerArea,
        VisitColumn::Value => Quantity::MoneyPerWeight,
        VisitColumn::Plants => Quantity::PlantsPerArea,
        _ => Quantity::Area,
    }
}

fn units(amount: VisitColumn) -> &'static str {
    amount.unit_column().map_or("", VisitColumn::unit)
}

/// The number of a cell, with the unit that is written behind it: `160 ac`. A sign for dollars says nothing new next to a
/// currency of dollars.
fn number_and_unit(
    amount: VisitColumn,
    cell: &Placed<'_>,
    currency: &Placed<'_>,
) -> Result<(Value, Option<Said>), Finding> {
    if let (Cell::Text(text), Cell::Text(currency)) = (cell.cell, currency.cell)
        && matches!(amount, VisitColumn::Cost | VisitColumn::Value)
        && ["USD", "CAD"].contains(&currency.trim())
        && let Some(digits) = text.trim().strip_prefix('$')
        && let Some((number, "")) = split(digits.trim())
    {
        return Ok((number_value(number), None));
    }
    if let Cell::Text(text) = cell.cell
        && let Some((number, unit)) = split(text.trim())
        && let Some(unit) = in_cell(quantity(amount), unit)
        && unit.currency.is_none()
    {
        let place = cell.place.clone();
        return Ok((number_value(number), Some(Said { unit, place })));
    }
    Ok((cell.number(amount.pointer())?, None))
}

/// Digits, with at most two behind a point, since three may be thousands; and the words behind them.
fn split(text: &str) -> Option<(f64, &str)> {
    let end = text.find(|letter: char| !letter.is_ascii_digit() && letter != '.');
    let (number, unit) = text.split_at(end.unwrap_or(text.len()));
    let decimals = number
        .split_once('.')
        .map_or(0, |(_, decimals)| decimals.len());
    let number = number.parse().ok().filter(|_| decimals <= 2)?;
    Some((number, unit.trim()))
}

/// The unit that the cell next to an amount names.
fn of_cell(amount: VisitColumn, cell: &Placed<'_>) -> Result<Option<Said>, Finding> {
    if cell.is_blank() {
        return Ok(None);
    }
    let unit = match cell.cell {
        Cell::Text(text) => in_own_cell(quantity(amount), text),
        _ => None,
    };
    let place = cell.place.clone();
    match unit {
        Some(unit) => Ok(Some(Said { unit, place })),
        None => Err(unit_expected(Code::UnitMissing, amount, cell)),
    }
}

/// A finding at the member of the unit, or at the amount where the record has no such member.
fn unit_expected(code: Code, amount: VisitColumn, cell: &Placed<'_>) -> Finding {
    let own = amount.unit_column().map_or("", VisitColumn::pointer);
    let pointer = match own.is_empty() {
        true => amount.pointer(),
        false => own,
    };
    let expected = format!(
        "the unit of {} is expected: {}",
        amount.name(),
        units(amount)
    );
    cell.finding(code, pointer, &expected)
}

/// The unit that the heading of an amount names, where it is not what sheets print there.
fn of_heading(tab: &HeadedTab<'_>, amount: VisitColumn) -> Result<Option<Said>, Finding> {
    let Some((bracket, place)) = tab.bracket(amount.place()) else {
        return Ok(None);
    };
    if amount.has_printed(&bracket) && bracket != AREA_IN_HECTARES {
        return Ok(None);
    }
    match in_cell(quantity(amount), &bracket) {
        Some(unit) => Ok(Some(Said { unit, place })),
        None => Err(heading_changed(
            (amount.name(), amount.unit()),
            amount.pointer(),
            (&bracket, &place),
        )),
    }
}

/// A finding for a heading that says something else than sheets print, so that nobody knows what is under it.
pub(super) fn heading_changed(
    (name, printed): (&str, &str),
    pointer: &str,
    (bracket, place): (&str, &str),
) -> Finding {
    Finding::new(
        Code::HeadingChanged,
        pointer,
        format!("{place}: the heading of {name} says {bracket:?}"),
        format!(
            "the sheet was made with {printed:?}: give the heading these words back, and the values what they say"
        ),
    )
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_number_with_its_unit_is_read_where_it_can_be_read_in_one_way() {
        assert_eq!(split("160 ac"), Some((160.0, "ac")));
        assert_eq!(split("62.4ha"), Some((62.4, "ha")));
        assert_eq!(split("8.50"), Some((8.5, "")));
        for text in ["1.234 ac", "ac 160", "0.125", ""] {
            assert_eq!(split(text), None, "{text}");
        }
    }
}
