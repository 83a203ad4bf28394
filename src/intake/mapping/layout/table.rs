//! A sheet, laid out as the mapping says: its columns, and its rows of data with the titles above them.

use std::rc::Rc;

use crate::mapping::layout::joined::JoinedSheet;
use crate::mapping::layout::turned::Turned;
use crate::mapping::member::Keys;
use crate::mapping::names::{cell_place, content, is_blank, letters};
use crate::sheet::table::{Cell, Row, Sheet};

/// A sheet, laid out.
pub(in crate::mapping) struct Table<'a> {
    /// Its name; empty for a text file.
    pub sheet: &'a str,
    /// How its cells are named in messages.
    pub places: Places<'a>,
    /// The text of the header over each column of the sheet.
    pub header: Vec<String>,
    /// What feeds members.
    pub columns: Vec<Column>,
    /// Sheets with further columns.
    pub joined: Vec<JoinedSheet<'a>>,
    /// The rows that hold data.
    pub rows: Vec<DataRow<'a>>,
}

/// How the cells of a sheet are named in messages: as its sender sees them.
#[derive(Clone, Copy)]
pub(in crate::mapping) enum Places<'a> {
    /// By letter and number.
    Grid,
    /// By letter and number, of a sheet whose rows and columns were exchanged.
    Turned(&'a Turned),
    /// By the number of a record and a JSON Pointer.
    Pointers,
}

impl<'a> Places<'a> {
    /// How the cells of a sheet are named that holds JSON, or that was turned.
    pub(in crate::mapping) fn of(sheet: &Sheet, turned: Option<&'a Turned>) -> Places<'a> {
        match turned {
            Some(turned) => Places::Turned(turned),
            None if sheet.lists.is_some() => Places::Pointers,
            None => Places::Grid,
        }
    }

    /// The name of a column.
    pub(in crate::mapping) fn column(self, place: usize) -> String {
        match self {
            Places::Grid => letters(place),
            Places::Turned(turned) => format!("row {}", turned.as_sent(place, 1).1),
            Places::Pointers => (place + 1).to_string(),
        }
    }

    /// The name of a cell.
    pub(in crate::mapping) fn name(
        self,
        sheet: &str,
        column: usize,
        row: u64,
        header: &str,
    ) -> String {
        match self {
            Places::Grid => cell_place(sheet, column, row, header),
            Places::Turned(turned) => {
                let (column, row) = turned.as_sent(column, row);
                cell_place(sheet, column, row, header)
            }
            Places::Pointers => format!("row {row}, {header}"),
        }
    }
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
    /// The slice of the rows for which it holds, if not for all.
    pub slice: Option<usize>,
}

/// Where the cells of a source are.
#[derive(Clone)]
pub(in crate::mapping) enum At {
    /// In each row, in a column counted from 0.
    Row(usize),
    /// In the row of a joined sheet, in a column counted from 0.
    Joined(usize, usize),
    /// In several places of each row, whose texts make one.
    Together(Vec<At>),
    /// In the titles above the row, the name of the sheet, or a header.
    Title(String),
    /// In one cell.
    Fixed(Cell, String),
}

impl At {
    /// The columns of the sheet itself.
    pub(crate) fn places(&self) -> Vec<usize> {
        match self {
            At::Row(place) => vec![*place],
            At::Together(parts) => parts.iter().flat_map(At::places).collect(),
            _ => Vec::new(),
        }
    }

    /// The columns of a joined sheet.
    pub(in crate::mapping) fn places_joined(&self, join: usize) -> Vec<usize> {
        match self {
            At::Joined(own, place) if *own == join => vec![*place],
            At::Together(parts) => parts
                .iter()
                .flat_map(|part| part.places_joined(join))
                .collect(),
            _ => Vec::new(),
        }
    }
}

/// A row of data and the titles above it.
#[derive(Clone)]
pub(in crate::mapping) struct DataRow<'a> {
    /// The row as sent.
    pub row: &'a Row,
    /// Name, text and place of what titles say.
    pub titles: Rc<Vec<Title>>,
    /// The slice of the row, where its header names several visits.
    pub slice: Option<usize>,
}

/// One thing that a title row, the sheet's name or a header says.
#[derive(Clone, PartialEq)]
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
    pub(crate) fn cell(&self, table: &Table<'_>, column: &Column) -> (Cell, String) {
        self.cell_at(table, &column.at, &column.header)
    }

    fn cell_at(&self, table: &Table<'_>, at: &At, header: &str) -> (Cell, String) {
        match at {
            At::Row(place) => (
                self.row.cells.get(*place).cloned().unwrap_or(Cell::Empty),
                table
                    .places
                    .name(table.sheet, *place, self.row.number, header),
            ),
            At::Joined(join, place) => table.joined[*join].cell(self.row, *place),
            At::Together(parts) => {
                let parts = parts.iter().map(|part| self.cell_at(table, part, ""));
                let (cells, places): (Vec<Cell>, Vec<String>) = parts.unzip();
                let place = match header {
                    "" => places.join(" and "),
                    header => format!("{} ({header})", places.join(" and ")),
                };
                (joint(&cells), place)
            }
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

/// The texts of cells with a space between them. A blank between others leaves its space, so that no format reads it as
/// another value; what cannot be read makes the whole unreadable.
fn joint(cells: &[Cell]) -> Cell {
    if cells.iter().all(is_blank) {
        return Cell::Empty;
    }
    let is_unread =
        |cell: &&Cell| matches!(cell, Cell::Broken(_) | Cell::Struck(_) | Cell::Percent(_));
    if let Some(unread) = cells.iter().find(is_unread) {
        return unread.clone();
    }
    let texts: Vec<String> = cells.iter().map(content).collect();
    Cell::Text(texts.join(" "))
}
