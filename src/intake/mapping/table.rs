//! A sheet, laid out as the mapping says: its columns, and its rows of data with the titles above them.

use std::rc::Rc;

use super::member::Keys;
use super::names::cell_place;
use crate::sheet::table::{Cell, Row};

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

/// A row of data and the titles above it.
pub(in crate::mapping) struct DataRow<'a> {
    /// The row as sent.
    pub row: &'a Row,
    /// Name, text and place of what titles say.
    pub titles: Rc<Vec<Title>>,
}

/// One thing that a title row or the sheet's name says.
#[derive(Clone)]
pub(in crate::mapping) struct Title {
    /// The group of the pattern.
    pub name: String,
    /// What it caught.
    pub text: String,
    /// Where it is.
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
