//! Rows as they were sent, as JSON: what is kept of a record that is held, and given back.
//!
//! `{"sheet":"Visits","header":["Field",…],"rows":[{"row":5,"cells":["F-1",3,true,null,{"date":"2026-07-21"}]}]}`.
//! Text, numbers and truths are JSON's own; a blank is `null`; what JSON has no form for is an object
//! with one member: `date`, `moment`, `broken`, `percent` or `struck`.

use std::collections::HashSet;

use serde_json::{Value, json};

use crate::mapping::layout::table::Table;
use crate::sheet::table::Cell;

/// The rows of a record.
pub(in crate::mapping) fn as_sent(table: &Table<'_>, rows: &[usize]) -> String {
    let rows: Vec<Value> = rows
        .iter()
        .map(|place| {
            let data = &table.rows[*place];
            let row = data.row;
            let other_slices: HashSet<usize> = table
                .columns
                .iter()
                .filter(|column| data.slice.is_some() && !column.is_of(data))
                .flat_map(|column| column.at.places())
                .collect();
            let cells = row.cells.iter().enumerate();
            let cells: Vec<Value> = cells
                .map(|(place, cell)| match other_slices.contains(&place) {
                    // The counts of another visit in the same row.
                    true => Value::Null,
                    false => cell_as_sent(cell),
                })
                .collect();
            json!({"row": row.number, "cells": cells})
        })
        .collect();
    json!({"sheet": table.sheet, "header": table.header, "rows": rows}).to_string()
}

/// A cell as the JSON of a held record has it.
pub(crate) fn cell_as_sent(cell: &Cell) -> Value {
    match cell {
        Cell::Empty => Value::Null,
        Cell::Text(text) => Value::from(text.as_str()),
        Cell::Number(number) => Value::from(*number),
        Cell::Truth(truth) => Value::from(*truth),
        Cell::Date(date) => json!({"date": date.to_string()}),
        Cell::Moment(moment) => json!({"moment": moment.to_string()}),
        Cell::Broken(words) => json!({"broken": words}),
        Cell::Percent(number) => json!({"percent": number.to_string()}),
        Cell::Struck(cell) => json!({"struck": cell_as_sent(cell)}),
    }
}

/// The cell that [`cell_as_sent`] wrote; `None` for JSON that it does not write.
pub fn cell_of_sent(value: &Value) -> Option<Cell> {
    Some(match value {
        Value::Null => Cell::Empty,
        Value::String(text) => Cell::Text(text.clone()),
        Value::Number(number) => Cell::Number(number.as_f64()?),
        Value::Bool(truth) => Cell::Truth(*truth),
        Value::Object(object) => {
            let (name, text) = object.iter().next()?;
            if name == "struck" {
                return Some(Cell::Struck(Box::new(cell_of_sent(text)?)));
            }
            let text = text.as_str()?;
            match name.as_str() {
                "date" => Cell::Date(text.parse().ok()?),
                "moment" => Cell::Moment(text.parse().ok()?),
                "broken" => Cell::Broken(text.to_owned()),
                "percent" => Cell::Percent(text.parse().ok()?),
                _ => return None,
            }
        }
        Value::Array(_) => return None,
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use jiff::civil::date;

    #[test]
    fn every_kind_of_cell_comes_back() {
        let cells = [
            Cell::Empty,
            Cell::Text("=1+1".to_owned()),
            Cell::Number(0.1 + 0.2),
            Cell::Truth(true),
            Cell::Date(date(2026, 7, 21)),
            Cell::Moment(date(2026, 7, 21).at(13, 3, 0, 0)),
            Cell::Broken("#DIV/0!".to_owned()),
            Cell::Percent(0.175),
            Cell::Struck(Box::new(Cell::Date(date(2026, 7, 21)))),
        ];
        for cell in cells {
            let text = cell_as_sent(&cell).to_string();
            let value = serde_json::from_str(&text).expect("JSON");
            assert_eq!(cell_of_sent(&value), Some(cell));
        }
        assert_eq!(cell_of_sent(&json!({"color": "red"})), None);
    }
}
