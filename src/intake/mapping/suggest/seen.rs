//! The table of a file as the draft sees it: what each column seems to be, and its cells.

use super::header_rows::{Header, Heading};
use super::known_headers::Named;
use super::repeats::{Repeat, repeats};
use crate::mapping::names::{folded, is_blank, shown};
use crate::sheet::table::{Cell, Row, Sheet};

/// Rows of a sheet that are looked at.
const ROWS_MAX: usize = 2_000;
/// Cells of a column that a comment shows.
const SAMPLES: usize = 3;

/// A table: header, columns and rows.
pub(super) struct Seen<'a> {
    pub header: Header,
    pub columns: Vec<Column>,
    pub repeats: Vec<Repeat>,
    pub rows: Vec<&'a Row>,
}

/// A column with a header or data.
pub(super) struct Column {
    pub place: usize,
    pub name: String,
    /// Whether another column has the same name, or this one has none: then only its letter names it.
    pub by_letter: bool,
    pub role: Role,
}

/// What a column seems to be.
pub(super) enum Role {
    Known(Named),
    /// One of several that repeat.
    Repeated,
    /// Computed from other columns.
    Derived,
    Unknown,
}

impl<'a> Seen<'a> {
    /// The table of sheets under one header.
    pub(super) fn of(header: Header, sheets: &[&'a Sheet]) -> Seen<'a> {
        let end = header.end();
        let below = |sheet: &&'a Sheet| {
            let rows = sheet.rows.iter();
            let rows = rows.filter(move |row| row.number > end && !row.cells.iter().all(is_blank));
            rows.take(ROWS_MAX)
        };
        let rows: Vec<&Row> = sheets.iter().flat_map(below).collect();
        let mut seen = Seen {
            header,
            columns: Vec::new(),
            repeats: Vec::new(),
            rows,
        };
        seen.find_columns();
        seen
    }

    fn find_columns(&mut self) {
        let headings = &self.header.columns;
        let unnamed = headings
            .iter()
            .enumerate()
            .filter(|(_, heading)| heading.named().is_none());
        let repeats = repeats(unnamed.map(|(place, heading)| (place, heading.name.as_str())));
        let mut mapped: Vec<&'static str> = Vec::new();
        let mut columns = Vec::new();
        let mut has_data = vec![false; headings.len()];
        for row in &self.rows {
            for (place, cell) in row.cells.iter().enumerate().take(headings.len()) {
                has_data[place] |= !is_blank(cell);
            }
        }
        let mut names: Vec<String> = headings
            .iter()
            .map(|heading| folded(&heading.name))
            .collect();
        names.sort_unstable();
        for (place, heading) in headings.iter().enumerate() {
            let role = role(place, heading, &repeats, &mut mapped);
            if matches!(role, Role::Unknown | Role::Derived) && !has_data[place] {
                continue;
            }
            let name = folded(&heading.name);
            let first = names.partition_point(|other| *other < name);
            columns.push(Column {
                place,
                name: heading.name.clone(),
                by_letter: name.is_empty() || names.get(first + 1) == Some(&name),
                role,
            });
        }
        self.columns = columns;
        self.repeats = repeats;
    }

    /// The cells of a column that hold something.
    pub(super) fn cells(&self, place: usize) -> impl Iterator<Item = &'a Cell> {
        let cells = self.rows.iter().filter_map(move |row| row.cells.get(place));
        cells.filter(|cell| !is_blank(cell))
    }

    /// The first cells of a column, for a comment.
    pub(super) fn samples(&self, place: usize) -> String {
        let shown: Vec<String> = self.cells(place).take(SAMPLES).map(shown).collect();
        match shown.is_empty() {
            true => "none".to_owned(),
            false => shown.join(", "),
        }
    }

    /// The place of the column of a member.
    pub(super) fn place_of(&self, to: &str) -> Option<usize> {
        let known = self.known().find(|(_, named)| named.to == to);
        known.map(|(column, _)| column.place)
    }

    /// Whether a column is known to name a member.
    pub(super) fn has(&self, to: &str) -> bool {
        self.place_of(to).is_some()
    }

    /// The columns that are known.
    pub(super) fn known(&self) -> impl Iterator<Item = (&Column, &Named)> {
        self.columns.iter().filter_map(|column| match &column.role {
            Role::Known(named) => Some((column, named)),
            _ => None,
        })
    }

    /// The share of rows in which a column is blank, from 0 to 1.
    pub(super) fn blank_share(&self, places: &[usize]) -> f64 {
        let is_blank_at = |row: &Row, place: &usize| row.cells.get(*place).is_none_or(is_blank);
        let blank = self
            .rows
            .iter()
            .filter(|row| places.iter().all(|place| is_blank_at(row, place)));
        blank.count() as f64 / self.rows.len().max(1) as f64
    }
}

fn role(
    place: usize,
    heading: &Heading,
    repeats: &[Repeat],
    mapped: &mut Vec<&'static str>,
) -> Role {
    match heading.named().filter(|named| !mapped.contains(&named.to)) {
        Some(named) => {
            mapped.push(named.to);
            Role::Known(named)
        }
        None if repeats.iter().any(|repeat| repeat.places.contains(&place)) => Role::Repeated,
        None if heading.is_derived() => Role::Derived,
        None => Role::Unknown,
    }
}
