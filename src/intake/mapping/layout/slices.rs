//! Rows that hold several visits, one for each day in the headers over their counts.
//!
//! A slice is what one header says; a row is read once for each slice, with the columns of that slice alone.

use std::rc::Rc;

use crate::mapping::layout::sheets::groups;
use crate::mapping::layout::table::{Column, DataRow, Title};
use crate::mapping::names::is_blank;
use crate::mapping::plan::{Field, Selector};

/// The slices of a table, each with what its headers say, in their order; none where headers name no visit.
pub(in crate::mapping) fn slices(fields: &[Field], columns: &mut [Column]) -> Vec<Vec<Title>> {
    let mut slices: Vec<Vec<Title>> = Vec::new();
    for column in columns {
        let selector = &fields[column.field].selector;
        let Selector::Pattern(pattern) = selector else {
            continue;
        };
        let names: Vec<&str> = selector.columns_in_headers().collect();
        if names.is_empty() {
            continue;
        }
        let caught = groups(pattern, &column.header).into_iter();
        let said: Vec<Title> = caught
            .filter(|(name, _)| names.contains(&name.as_str()))
            .map(|(name, text)| Title {
                name,
                text,
                place: format!("the header {:?}", column.header),
            })
            .collect();
        let is_same = |slice: &Vec<Title>| {
            let texts = |titles: &[Title]| -> Vec<(String, String)> {
                let pairs = titles
                    .iter()
                    .map(|title| (title.name.clone(), title.text.clone()));
                pairs.collect()
            };
            texts(slice) == texts(&said)
        };
        column.slice = slices.iter().position(is_same).or(Some(slices.len()));
        if column.slice == Some(slices.len()) {
            slices.push(said);
        }
    }
    slices
}

/// The rows, once for each slice.
pub(in crate::mapping) fn sliced<'a>(
    rows: Vec<DataRow<'a>>,
    slices: &[Vec<Title>],
) -> Vec<DataRow<'a>> {
    if slices.is_empty() {
        return rows;
    }
    let each = rows.iter().flat_map(|row| {
        slices.iter().enumerate().map(|(place, said)| DataRow {
            row: row.row,
            titles: Rc::new(row.titles.iter().chain(said).cloned().collect()),
            slice: Some(place),
        })
    });
    each.collect()
}

impl Column {
    /// Whether the column says anything of a row.
    pub(in crate::mapping) fn is_of(&self, row: &DataRow<'_>) -> bool {
        self.slice.is_none() || self.slice == row.slice
    }

    /// Whether the row has something in this column, which is of one slice.
    pub(in crate::mapping) fn is_filled_slice(&self, row: &DataRow<'_>) -> bool {
        let filled = |place: usize| row.row.cells.get(place).is_some_and(|cell| !is_blank(cell));
        self.slice.is_some() && self.slice == row.slice && self.at.places().into_iter().any(filled)
    }
}
