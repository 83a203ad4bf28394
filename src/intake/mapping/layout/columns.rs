//! The columns of a sheet that feed members, as the mapping says.
//!
//! What does not fit refuses the file, with the headers that were found.

use std::collections::HashMap;

use regex::Regex;

use crate::mapping::layout::finder::{Finder, wanted};
use crate::mapping::layout::sheets::groups;
use crate::mapping::layout::table::{At, Column};
use crate::mapping::names::{content, folded, letters};
use crate::mapping::plan::{Field, Selector};
use crate::sheet::table::{Cell, Row};
use scouting::failure::Failure;

/// How many rows are searched for a header that is not where the mapping says.
const HEADER_SEARCH_ROWS: usize = 50;

impl Finder<'_, '_> {
    /// The columns that feed members; a column that is missing or claimed twice refuses the file.
    pub(in crate::mapping) fn columns(&self) -> Result<Vec<Column>, Failure> {
        let mut columns = Vec::new();
        let mut missing = Vec::new();
        for (place, field) in self.mapping.fields.iter().enumerate() {
            let found = self.columns_of(place, field)?;
            if found.is_empty() && !field.optional {
                missing.push(format!(
                    "{} ({})",
                    field.reading.member.pointer,
                    wanted(&field.selector)
                ));
            }
            columns.extend(found);
        }
        if !missing.is_empty() {
            let mend = self.where_the_header_is().unwrap_or_else(|| {
                "give the header's text in the mapping as a further name, or say optional = true".to_owned()
            });
            return Err(self.refused(
                format!("there is no column for {}", missing.join(", ")),
                mend,
            ));
        }
        self.refuse_claimed_twice(&columns)?;
        Ok(columns)
    }

    fn columns_of(&self, field_place: usize, field: &Field) -> Result<Vec<Column>, Failure> {
        let column = |at, keys, header: &str| Column {
            at,
            field: field_place,
            keys,
            header: header.to_owned(),
            slice: None,
        };
        match &field.selector {
            Selector::Names(_) | Selector::Letter(_) => {
                let found = self.find(&field.selector)?;
                Ok(found
                    .map(|(at, header)| column(at, field.keys.clone(), &header))
                    .into_iter()
                    .collect())
            }
            Selector::Together(names) => {
                let mut parts = Vec::new();
                for name in names {
                    let Some((at, _)) = self.find(&Selector::Names(vec![name.clone()]))? else {
                        return Ok(Vec::new());
                    };
                    parts.push(at);
                }
                let header = names.join(" and ");
                Ok(vec![column(
                    At::Together(parts),
                    field.keys.clone(),
                    &header,
                )])
            }
            Selector::Pattern(pattern) => Ok(self
                .header
                .iter()
                .enumerate()
                .filter(|(_, text)| pattern.is_match(text))
                .map(|(place, text)| {
                    let mut keys = field.keys.clone();
                    for (name, caught) in groups(pattern, text) {
                        if let Some(slot) = keys.slot(&name) {
                            let is_place = self.is_place_in_list(pattern, &name, text);
                            *slot = Some(number_text(&caught, is_place));
                        }
                    }
                    column(At::Row(place), keys, text)
                })
                .collect()),
            Selector::Cell(place, number) => {
                let row = self.sheet.rows.iter().find(|row| row.number == *number);
                let cell = row.and_then(|row| row.cells.get(*place)).cloned();
                let shown_place = self.places.name(&self.sheet.name, *place, *number, "");
                let at = At::Fixed(cell.unwrap_or(Cell::Empty), shown_place);
                Ok(vec![column(at, field.keys.clone(), "")])
            }
        }
    }

    /// Whether what a group of a pattern caught is the place in a list of JSON.
    fn is_place_in_list(&self, pattern: &Regex, group: &str, header: &str) -> bool {
        let lists = self.sheet.lists.as_ref();
        let caught = pattern.captures(header);
        let begins = caught.and_then(|caught| Some(caught.name(group)?.start()));
        let list = begins.and_then(|begins| header[..begins].strip_suffix('/'));
        lists
            .zip(list)
            .is_some_and(|(lists, list)| lists.contains(list))
    }

    fn refuse_claimed_twice(&self, columns: &[Column]) -> Result<(), Failure> {
        let fields = &self.mapping.fields;
        let mut claims: HashMap<usize, usize> = HashMap::new();
        let places = columns
            .iter()
            .flat_map(|column| column.at.places().into_iter().map(move |at| (at, column)));
        for (at, column) in places {
            let Some(other) = claims.insert(at, column.field) else {
                continue;
            };
            let both_take_a_part = [other, column.field]
                .iter()
                .all(|field| fields[*field].reading.part.is_some());
            if !both_take_a_part {
                return Err(self.refused(
                    format!(
                        "column {} is mapped to both {} and {}",
                        letters(at),
                        fields[other].reading.member.pointer,
                        fields[column.field].reading.member.pointer
                    ),
                    "a column feeds one member, unless each takes a part of its text (part)",
                ));
            }
        }
        Ok(())
    }

    /// Says in which row the wanted names are, if in another than the mapping says.
    fn where_the_header_is(&self) -> Option<String> {
        let wanted: Vec<String> = self
            .mapping
            .fields
            .iter()
            .filter_map(|field| match &field.selector {
                Selector::Names(names) => Some(names.iter().map(|name| folded(name))),
                _ => None,
            })
            .flatten()
            .collect();
        let hits = |row: &Row| {
            let texts = row.cells.iter().map(|cell| folded(&content(cell)));
            texts.filter(|text| wanted.contains(text)).count()
        };
        let rows = self.sheet.rows.iter().take(HEADER_SEARCH_ROWS);
        let best = rows.max_by_key(|row| (hits(row), std::cmp::Reverse(row.number)))?;
        let elsewhere = !self.mapping.form.header_rows.contains(&best.number);
        (hits(best) >= 2 && elsewhere).then(|| {
            format!(
                "the names are in row {}: say headerRows = [{0}] in [dialect]",
                best.number
            )
        })
    }
}

/// A number that a header names: `01` and `1` are one head. Places in a list of JSON count from 0, those of a record from 1.
fn number_text(text: &str, is_place: bool) -> String {
    text.parse::<u64>().map_or_else(
        |_| text.to_owned(),
        |number| (number + u64::from(is_place)).to_string(),
    )
}
