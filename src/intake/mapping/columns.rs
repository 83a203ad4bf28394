//! A sheet, laid out as the mapping says: its columns.
//!
//! What does not fit refuses the file, with the headers that were found.

use std::collections::HashMap;

use super::member::Keys;
use super::names::{cell_place, content, folded, letters, quoted};
use super::rows::DataRow;
use super::sheets::{ChosenSheet, groups, header, title_names};
use super::{Field, Mapping, Selector};
use crate::sheet::table::{Cell, Row, Sheet};
use scouting::failure::{Failure, Kind};

/// How many rows are searched for a header that is not where the mapping says.
const HEADER_SEARCH_ROWS: usize = 50;

/// A sheet, laid out.
pub(in crate::mapping) struct Table<'a> {
    /// Its name; empty for a text file.
    pub sheet: &'a str,
    /// The text of the header over each column of the sheet.
    pub header: Vec<String>,
    /// What feeds members.
    pub columns: Vec<Column>,
    /// The rows that hold data.
    pub rows: Vec<DataRow<'a>>,
}

/// A source of a member: a column, or a cell that holds for all rows.
pub(in crate::mapping) struct Column {
    /// Where the cells are.
    pub at: At,
    /// The mapping's field.
    pub field: usize,
    /// What the header says of site, unit and bract.
    pub keys: Keys,
    /// The header's text.
    pub header: String,
}

/// Where the cells of a source are.
pub(in crate::mapping) enum At {
    /// In each row, in a column counted from 0.
    Row(usize),
    /// In the titles above the row, or the name of the sheet.
    Title(String),
    /// In one cell.
    Fixed(Cell, String),
}

impl At {
    /// The column, if the cells are in one.
    pub fn place(&self) -> Option<usize> {
        match self {
            At::Row(place) => Some(*place),
            _ => None,
        }
    }
}

/// Lays a sheet out.
pub(in crate::mapping) fn lay_out<'a>(
    mapping: &Mapping,
    chosen: &ChosenSheet<'a>,
    file_name: &str,
) -> Result<Table<'a>, Failure> {
    let sheet = chosen.sheet;
    let header = header(mapping, sheet);
    let titles = title_names(mapping, chosen);
    let folded_header: Vec<String> = header.iter().map(|text| folded(text)).collect();
    let finder = Finder {
        mapping,
        sheet,
        header: &header,
        folded_header: &folded_header,
        titles: &titles,
        file_name,
    };
    let columns = finder.columns()?;
    let rows = finder.rows(chosen)?;
    finder.refuse_unmentioned(&columns, &rows)?;
    Ok(Table {
        sheet: &sheet.name,
        header,
        columns,
        rows,
    })
}

/// Finds columns and rows of one sheet.
pub(in crate::mapping) struct Finder<'a, 'm> {
    pub mapping: &'m Mapping,
    pub sheet: &'a Sheet,
    pub header: &'m [String],
    folded_header: &'m [String],
    pub titles: &'m [String],
    file_name: &'m str,
}

impl<'a> Finder<'a, '_> {
    pub fn refused(&self, what: String, mend: impl Into<String>) -> Failure {
        let sheet = if self.sheet.name.is_empty() {
            String::new()
        } else {
            format!("sheet {}, ", quoted(&self.sheet.name))
        };
        let found: Vec<String> = self
            .header
            .iter()
            .enumerate()
            .filter(|(_, text)| !text.is_empty())
            .map(|(place, text)| format!("{} {}", letters(place), quoted(text)))
            .collect();
        let found = if found.is_empty() {
            "no text at all".to_owned()
        } else {
            found.join(", ")
        };
        let rows: Vec<String> = self
            .mapping
            .form
            .header_rows
            .iter()
            .map(u64::to_string)
            .collect();
        Failure::new(
            Kind::Submission,
            format!("cannot load {}: {what}", self.file_name),
        )
        .at(format!(
            "{sheet}header (row {}): {found}",
            rows.join(" and ")
        ))
        .mend(mend)
    }

    fn columns(&self) -> Result<Vec<Column>, Failure> {
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
        };
        match &field.selector {
            Selector::Names(_) | Selector::Letter(_) => {
                let found = self.find(&field.selector)?;
                Ok(found
                    .map(|(at, header)| column(at, field.keys.clone(), &header))
                    .into_iter()
                    .collect())
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
                            *slot = Some(number_text(&caught));
                        }
                    }
                    column(At::Row(place), keys, text)
                })
                .collect()),
            Selector::Cell(place, number) => {
                let row = self.sheet.rows.iter().find(|row| row.number == *number);
                let cell = row.and_then(|row| row.cells.get(*place)).cloned();
                let shown_place = cell_place(&self.sheet.name, *place, *number, "");
                let at = At::Fixed(cell.unwrap_or(Cell::Empty), shown_place);
                Ok(vec![column(at, field.keys.clone(), "")])
            }
        }
    }

    /// The one column of a name or a letter.
    pub fn find(&self, selector: &Selector) -> Result<Option<(At, String)>, Failure> {
        let names = match selector {
            Selector::Letter(place) => {
                let header = self.header.get(*place);
                return Ok(header.map(|header| (At::Row(*place), header.clone())));
            }
            Selector::Names(names) => names,
            _ => return Ok(None),
        };
        let folded_names: Vec<String> = names.iter().map(|name| folded(name)).collect();
        let places: Vec<usize> = (0..self.header.len())
            .filter(|place| folded_names.contains(&self.folded_header[*place]))
            .collect();
        let titles = self
            .titles
            .iter()
            .filter(|title| folded_names.contains(&folded(title)));
        let titles: Vec<&String> = titles.collect();
        match (places.as_slice(), titles.as_slice()) {
            ([], []) => Ok(None),
            ([place], []) => Ok(Some((At::Row(*place), self.header[*place].clone()))),
            ([], [title]) => Ok(Some((At::Title((*title).clone()), (*title).clone()))),
            _ => {
                let shown: Vec<String> = places.iter().map(|place| letters(*place)).collect();
                Err(self.refused(
                    format!(
                        "more than one column is called {}: {}",
                        wanted(selector),
                        shown.join(", ")
                    ),
                    "name the column by its letter: column = \"C\"",
                ))
            }
        }
    }

    fn refuse_claimed_twice(&self, columns: &[Column]) -> Result<(), Failure> {
        let fields = &self.mapping.fields;
        let mut claims: HashMap<usize, usize> = HashMap::new();
        for column in columns {
            let Some(at) = column.at.place() else {
                continue;
            };
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

/// `01` and `1` are one head.
fn number_text(text: &str) -> String {
    text.parse::<u64>()
        .map_or_else(|_| text.to_owned(), |number| number.to_string())
}

pub(in crate::mapping) fn wanted(selector: &Selector) -> String {
    match selector {
        Selector::Names(names) => {
            let names: Vec<String> = names.iter().map(|name| quoted(name)).collect();
            names.join(" or ")
        }
        Selector::Letter(place) => format!("column {}", letters(*place)),
        Selector::Pattern(pattern) => format!("names like {}", pattern.as_str()),
        Selector::Cell(place, row) => format!("cell {}{row}", letters(*place)),
    }
}
