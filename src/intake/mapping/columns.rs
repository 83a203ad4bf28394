//! Columns and rows of a sheet, laid out as the mapping says.
//!
//! What does not fit refuses the file, with the headers that were found. Nothing is read from the
//! cells here but the texts of titles and of rows to be left out.

use std::collections::HashMap;
use std::rc::Rc;

use super::member::Keys;
use super::names::{cell_place, content, folded, is_blank, letters, quoted};
use super::sheets::{ChosenSheet, groups, header, title_names};
use super::{Field, Mapping, Selector, Skip};
use crate::failure::{Failure, Kind};
use crate::intake::table::{Cell, Row, Sheet};

/// How many rows are searched for a header that does not stand where the mapping says.
const HEADER_SEARCH_ROWS: usize = 50;

/// A sheet, laid out.
pub(super) struct Table<'a> {
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
pub(super) struct Column {
    /// Where the cells stand.
    pub at: At,
    /// The mapping's field.
    pub field: usize,
    /// What the header says of site, unit and bract.
    pub keys: Keys,
    /// The header's text.
    pub header: String,
}

/// Where the cells of a source stand.
pub(super) enum At {
    /// In each row, in a column counted from 0.
    Row(usize),
    /// In the titles above the row, or the name of the sheet.
    Title(String),
    /// In one cell.
    Fixed(Cell, String),
}

impl At {
    /// The column, if the cells stand in one.
    pub fn place(&self) -> Option<usize> {
        match self {
            At::Row(place) => Some(*place),
            _ => None,
        }
    }
}

/// A row of data and the titles above it.
pub(super) struct DataRow<'a> {
    /// The row as sent.
    pub row: &'a Row,
    /// Name, text and place of what titles say.
    pub titles: Rc<Vec<Title>>,
}

/// One thing that a title row or the sheet's name says.
#[derive(Clone)]
pub(super) struct Title {
    /// The group of the pattern.
    pub name: String,
    /// What it caught.
    pub text: String,
    /// Where it stands.
    pub place: String,
}

impl DataRow<'_> {
    /// The cell of a source in this row, and its place.
    pub fn cell(&self, table: &Table<'_>, column: &Column) -> (Cell, String) {
        match &column.at {
            At::Row(place) => (
                self.row.cells.get(*place).cloned().unwrap_or(Cell::Empty),
                cell_place(table.sheet, *place, self.row.number, &column.header),
            ),
            At::Title(name) => match self.titles.iter().rev().find(|title| title.name == *name) {
                Some(title) => (Cell::Text(title.text.clone()), title.place.clone()),
                None => (
                    Cell::Empty,
                    format!("no title above row {}", self.row.number),
                ),
            },
            At::Fixed(cell, place) => (cell.clone(), place.clone()),
        }
    }
}

/// Lays a sheet out.
pub(super) fn lay_out<'a>(
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
pub(super) struct Finder<'a, 'm> {
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
    fn find(&self, selector: &Selector) -> Result<Option<(At, String)>, Failure> {
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

    /// Says in which row the wanted names stand, if in another than the mapping says.
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
                "the names stand in row {}: say headerRows = [{0}] in [dialect]",
                best.number
            )
        })
    }

    fn rows(&self, chosen: &ChosenSheet<'a>) -> Result<Vec<DataRow<'a>>, Failure> {
        let form = &self.mapping.form;
        let first = form.header_rows.last().copied().unwrap_or(0);
        let skips = self.skips()?;
        let headers = self.folded_headers();
        let place = format!("the name of the sheet {}", quoted(&self.sheet.name));
        let mut titles: Rc<Vec<Title>> = Rc::new(
            chosen
                .said
                .iter()
                .map(|(name, text)| title(name, text, &place))
                .collect(),
        );
        let mut rows = Vec::new();
        for row in &self.sheet.rows {
            let above_header = row.number <= first;
            let left_out = form.header_rows.contains(&row.number)
                || form.comment_rows.contains(&row.number)
                || row.cells.iter().all(is_blank)
                || repeats_header(row, &headers)
                || !above_header && skips.iter().any(|(place, skip)| skipped(row, *place, skip));
            if left_out {
                continue;
            }
            if let Some(said) = self.said_by_title(row) {
                titles = Rc::new(titles_after(&titles, said));
                continue;
            }
            if !above_header {
                rows.push(DataRow {
                    row,
                    titles: titles.clone(),
                });
            }
        }
        Ok(rows)
    }

    fn skips(&self) -> Result<Vec<(usize, &Skip)>, Failure> {
        self.mapping
            .skips
            .iter()
            .map(|skip| match self.find(&skip.selector)? {
                Some((At::Row(place), _)) => Ok((place, skip)),
                _ => Err(self.refused(
                    format!(
                        "there is no column {} for a [[skip]]",
                        wanted(&skip.selector)
                    ),
                    "mend the [[skip]], or leave it out",
                )),
            })
            .collect()
    }

    fn folded_headers(&self) -> Vec<Vec<String>> {
        let rows = &self.mapping.form.header_rows;
        self.sheet
            .rows
            .iter()
            .filter(|row| rows.contains(&row.number))
            .map(folded_cells)
            .collect()
    }

    /// What a title row says: all of its cells, joined by single spaces, match a [[block]].
    fn said_by_title(&self, row: &Row) -> Option<Vec<Title>> {
        let cells = row.cells.iter().filter(|cell| !is_blank(cell));
        let text = cells.map(content).collect::<Vec<String>>().join(" ");
        let pattern = self
            .mapping
            .blocks
            .iter()
            .find(|pattern| pattern.is_match(&text))?;
        let first = row
            .cells
            .iter()
            .position(|cell| !is_blank(cell))
            .unwrap_or(0);
        let place = cell_place(&self.sheet.name, first, row.number, "");
        // A group that caught nothing says that the title before it no longer holds.
        let caught = groups(pattern, &text);
        let names = pattern.capture_names().flatten();
        Some(
            names
                .map(|name| {
                    let text = caught.iter().find(|(other, _)| other == name);
                    title(name, text.map_or("", |(_, text)| text), &place)
                })
                .collect(),
        )
    }
}

/// `01` and `1` are one head.
fn number_text(text: &str) -> String {
    text.parse::<u64>()
        .map_or_else(|_| text.to_owned(), |number| number.to_string())
}

fn title(name: &str, text: &str, place: &str) -> Title {
    Title {
        name: name.to_owned(),
        text: text.to_owned(),
        place: place.to_owned(),
    }
}

fn titles_after(before: &[Title], said: Vec<Title>) -> Vec<Title> {
    let kept = before
        .iter()
        .filter(|title| said.iter().all(|new| new.name != title.name));
    kept.cloned().chain(said.clone()).collect()
}

fn folded_cells(row: &Row) -> Vec<String> {
    row.cells
        .iter()
        .map(|cell| folded(&content(cell)))
        .collect()
}

/// A header that is printed again on every page of a long sheet.
fn repeats_header(row: &Row, headers: &[Vec<String>]) -> bool {
    let might_be = headers.iter().any(|header| header.len() == row.cells.len());
    if !might_be {
        return false;
    }
    let texts = folded_cells(row);
    let filled = texts.iter().filter(|text| !text.is_empty()).count();
    filled >= 2 && headers.contains(&texts)
}

fn skipped(row: &Row, place: usize, skip: &Skip) -> bool {
    let text = row.cells.get(place).map(content).unwrap_or_default();
    skip.matches.is_match(&text)
}

fn wanted(selector: &Selector) -> String {
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
