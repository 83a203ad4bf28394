//! A table-shaped submission: sheets of rows of cells, and the records that a mapping makes of them.
//!
//! Only the shapes are here. Reading files into sheets is `intake::text_table` and
//! `intake::workbook`; making records of rows is `intake::mapping`.

use std::collections::{BTreeMap, BTreeSet};

use jiff::civil::{Date, DateTime};
use serde_json::Value;

use scouting::visit::finding::Finding;

/// One sheet of a workbook, or the one table of a text file.
#[derive(Debug, Clone, PartialEq)]
pub struct Sheet {
    /// Its name; empty for a text file.
    pub name: String,
    /// Its rows from the first one on, empty ones included as rows without cells.
    pub rows: Vec<Row>,
    /// Of a JSON document: the JSON Pointers of its lists, whose places count from 0. Its columns are JSON Pointers too.
    pub lists: Option<BTreeSet<String>>,
}

impl Sheet {
    /// A sheet without rows.
    pub(crate) fn named(name: &str) -> Sheet {
        Sheet {
            name: name.to_owned(),
            rows: Vec::new(),
            lists: None,
        }
    }
}

/// Where the rows are in a JSON document.
#[derive(Debug, Clone, Copy, Default)]
pub(crate) struct JsonRows<'m> {
    /// The list of records, a JSON Pointer; none: the document itself, its features, or its one list.
    pub records: Option<&'m str>,
    /// The list in a record whose items are rows, a JSON Pointer; none: a record is a row.
    pub rows_of: Option<&'m str>,
}

/// One row.
#[derive(Debug, Clone, PartialEq)]
pub struct Row {
    /// Number of the row as its sender sees it, from 1. In a text file: of its first line.
    pub number: u64,
    /// Its cells from column A on; empty ones at the end are left out.
    pub cells: Vec<Cell>,
}

/// One cell, as the file holds it. Nothing is guessed here: text stays text.
#[derive(Debug, Clone, PartialEq)]
pub enum Cell {
    /// Nothing, or the covered part of a merged range.
    Empty,
    /// Text as it is written there.
    Text(String),
    /// A number; of a formula its stored value.
    Number(f64),
    /// A number that the file shows as a percentage: 0.03 is shown as 3 %.
    Percent(f64),
    /// Yes or no.
    Truth(bool),
    /// A cell that the file itself marks as a date.
    Date(Date),
    /// A cell that the file itself marks as a date with a time.
    Moment(DateTime),
    /// An error value, or a formula without a stored value, in words.
    Broken(String),
    /// What is in a cell whose text is struck through: its sender took it back.
    Struck(Box<Cell>),
}

/// One record made of rows, or what kept it from being made.
#[derive(Debug, Clone, PartialEq)]
pub struct TableRecord {
    /// Number of its first row.
    pub line: u64,
    /// The rows as sent, JSON: `{"sheet":"Visits","header":[…],"rows":[{"row":5,"cells":[…]}]}`. This is what is
    /// kept if the record is held.
    pub as_sent: String,
    /// The visit record, for the schema and the rules; or what is wrong with the cells.
    pub document: Result<Value, Vec<Finding>>,
    /// Where the cells are at fault: the record as far as they could be read, in whatever form that is.
    pub draft: Value,
    /// How `/visit_id` is made, if the sheet has none: [`crate::mapping::made_id`].
    pub id_recipe: Option<String>,
    /// Where each member came from: JSON Pointer → `Visits!C7 (Eggs)`; a finding at a pointer without
    /// an entry takes that of the nearest parent.
    pub places: BTreeMap<String, String>,
    /// A sentence on what says when the record was submitted, if it says so for all records at once.
    pub submission_fixed_by: Option<String>,
    /// What the other records of the table make doubtful about this one.
    pub doubts: Vec<Finding>,
}

impl TableRecord {
    /// The cell that a member came from, or the nearest one above it.
    pub fn place(&self, pointer: &str) -> Option<&str> {
        let mut pointer = pointer;
        loop {
            if let Some(place) = self.places.get(pointer) {
                return Some(place);
            }
            pointer = pointer.rsplit_once('/')?.0;
        }
    }
}
