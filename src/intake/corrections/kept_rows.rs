//! What is kept of a record that came as rows of a table: the rows as sent, and with them what was read.
//!
//! `{"sheet":…,"header":…,"rows":[…],"read":{"visit":{…},"id_recipe":…,"unread":{"/observed_on":"6/7/2026"}}}`. The
//! member `read` is ours: the record as far as its cells could be read, and the cells that could not, so that
//! the person who corrects it finds each in its column. It is judged nowhere; `held/correction_sheet.rs` lays it out.

use std::collections::BTreeMap;

use bytes::Bytes;
use serde::Deserialize;
use serde_json::{Map, Value, json};

use crate::corrections::sent_out::text_of;
use crate::mapping::{cell_as_sent, cell_of, cell_of_sent};
use crate::sheet::table::{Cell, TableRecord};
use scouting::visit::code::Code;

/// A part of the rows as sent: those of one sheet.
#[derive(Debug, Deserialize)]
pub struct SentRows {
    /// The sheet's name; empty for a text file.
    pub sheet: String,
    /// Its headings.
    pub header: Vec<Value>,
    /// The rows.
    pub rows: Vec<SentRow>,
    /// Rows of other sheets that belong to the same record.
    #[serde(default)]
    pub more: Vec<SentRows>,
}

/// A row as sent.
#[derive(Debug, Deserialize)]
pub struct SentRow {
    /// Its number, from 1.
    pub row: u64,
    /// Its cells, as `cell_as_sent` writes them.
    pub cells: Vec<Value>,
}

/// What was read of the rows.
#[derive(Debug, Deserialize)]
pub struct ReadOfRows {
    /// The record as far as it could be read.
    pub visit: Value,
    /// How its identity is made, if the sheet has none: [`crate::mapping::made_id`].
    pub id_recipe: Option<String>,
    /// Cells that could not be read, by the JSON Pointer of their member.
    pub unread: BTreeMap<String, Value>,
}

impl SentRows {
    /// This part and the others.
    pub fn parts(&self) -> impl Iterator<Item = &SentRows> {
        std::iter::once(self).chain(&self.more)
    }

    /// The cell at a place such as `Visits!C7 (Date)`.
    pub(crate) fn cell(&self, place: &str) -> Option<Cell> {
        self.parts().find_map(|part| {
            let within = match part.sheet.as_str() {
                "" => place,
                sheet => place.strip_prefix(sheet)?.strip_prefix('!')?,
            };
            let (column, row) = cell_of(within.split(' ').next()?)?;
            let row = part.rows.iter().find(|sent| sent.row == row)?;
            row.cells.get(column).and_then(cell_of_sent)
        })
    }
}

/// The record as it is kept if it is held.
pub fn kept(record: &TableRecord) -> Bytes {
    let visit = record.document.as_ref().unwrap_or(&record.draft);
    let recipe = json!(record.id_recipe);
    let unread = Value::Object(unread(record));
    let read = format!(r#"{{"visit":{visit},"id_recipe":{recipe},"unread":{unread}}}"#);
    let sent = record.as_sent.strip_suffix('}');
    let sent = sent.expect("rows as sent are a JSON object");
    Bytes::from(format!(r#"{sent},"read":{read}}}"#))
}

/// Both parts of a record that [`kept`] wrote; `None` of any other record.
pub fn read_kept(record: &str) -> Option<(SentRows, ReadOfRows)> {
    #[derive(Deserialize)]
    struct Read {
        read: ReadOfRows,
    }
    // No visit has a member `read`, and most records are visits.
    if !record.contains("\"read\"") {
        return None;
    }
    let sent: SentRows = serde_json::from_str(record).ok()?;
    let Read { read } = serde_json::from_str(record).ok()?;
    Some((sent, read))
}

/// The record without an identity that is made of a member that could not be read.
pub(crate) fn without_half_made_id(mut record: TableRecord) -> TableRecord {
    if let (Some(recipe), Err(findings), Some(visit)) = (
        &record.id_recipe,
        &record.document,
        record.draft.as_object_mut(),
    ) {
        let members = crate::mapping::made_id::members_of(recipe);
        let at_fault = |pointer: &str| members.contains(&pointer);
        if findings.iter().any(|finding| at_fault(&finding.pointer)) {
            visit.remove("visit_id");
        }
    }
    record
}

/// The cells that could not be read, by their members.
fn unread(record: &TableRecord) -> Map<String, Value> {
    let (Err(findings), Ok(sent)) = (
        &record.document,
        serde_json::from_str::<SentRows>(&record.as_sent),
    ) else {
        return Map::new();
    };
    let mut unread = Map::new();
    for finding in findings {
        let Some(place) = record.places.get(&finding.pointer) else {
            continue;
        };
        // A value that was carried down is in another row, so only its message says it.
        let own_place = place.rsplit(", carried down from ").next().unwrap_or(place);
        let cell = sent.cell(own_place).or_else(|| {
            let shown = finding.found.strip_prefix(place.as_str())?;
            let shown = shown.strip_prefix(": ")?.trim_matches('"');
            Some(Cell::Text(shown.to_owned()))
        });
        match cell {
            None | Some(Cell::Empty) => {}
            Some(cell) => {
                let cell = match (cell, finding.code) {
                    // Sent back as it is, it must not be taken for a number in the unit of our own column.
                    (
                        Cell::Number(number),
                        Code::HeadingChanged
                        | Code::UnitDiffers
                        | Code::UnitMissing
                        | Code::CellEmpty,
                    ) => Cell::Text(format!("{number} ?")),
                    (cell, _) => cell,
                };
                unread.insert(finding.pointer.clone(), cell_as_sent(&cell));
            }
        }
    }
    unread
}

/// The record with each cell that could not be read at the place of its member.
pub fn with_unread(read: &ReadOfRows) -> Value {
    let mut record = read.visit.clone();
    for (pointer, cell) in &read.unread {
        let cell = match cell_of_sent(cell) {
            Some(Cell::Date(date)) => json!(date.to_string()),
            Some(Cell::Moment(moment)) => json!(moment.to_string()),
            Some(Cell::Broken(words)) => json!(words),
            Some(Cell::Percent(number)) => json!(number),
            Some(Cell::Struck(cell)) => json!(text_of(&cell)),
            _ => cell.clone(),
        };
        put(&mut record, pointer, cell);
    }
    if let (Some(_), Some(members)) = (&read.id_recipe, record.as_object_mut()) {
        members.remove("visit_id");
    }
    record
}

/// Puts a value at a pointer; objects on the way are made, lists are not.
fn put(record: &mut Value, pointer: &str, value: Value) {
    if let Some(place) = record.pointer_mut(pointer) {
        *place = value;
        return;
    }
    let Some((parent, name)) = pointer.rsplit_once('/') else {
        return;
    };
    if record.pointer(parent).is_none() {
        put(record, parent, Value::Object(Map::new()));
    }
    if let Some(Value::Object(members)) = record.pointer_mut(parent) {
        members.insert(name.to_owned(), value);
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use scouting::visit::finding::Finding;

    fn record(place: &str, found: &str) -> TableRecord {
        TableRecord {
            submission_fixed_by: None,
            doubts: Vec::new(),
            line: 7,
            as_sent: json!({"sheet": "My sheet", "header": ["Field", "Date"],
                "rows": [{"row": 7, "cells": ["F-1", "6/7/2026"]}]})
            .to_string(),
            document: Err(vec![Finding::new(
                Code::DateAmbiguous,
                "/observed_on",
                found,
                "x",
            )]),
            draft: json!({"visit_id": "F-1:", "field": {"field_id": "F-1"}}),
            id_recipe: Some("{/field/field_id}:{/observed_on}".to_owned()),
            places: BTreeMap::from([("/observed_on".to_owned(), place.to_owned())]),
        }
    }

    #[test]
    fn a_cell_that_could_not_be_read_is_kept_as_sent_under_its_member() {
        let kept = kept(&without_half_made_id(record(
            "My sheet!B7 (Date)",
            "My sheet!B7 (Date): \"6/7/2026\"",
        )));
        let text = std::str::from_utf8(&kept).expect("UTF-8");
        let (sent, read) = read_kept(text).expect("what was kept");
        assert_eq!(sent.rows[0].row, 7);
        assert_eq!(read.unread["/observed_on"], "6/7/2026");
        assert_eq!(read.visit, json!({"field": {"field_id": "F-1"}}));
        assert!(read_kept("{\"visit_id\":\"read\"}").is_none());
    }

    #[test]
    fn a_cell_that_was_carried_down_from_a_row_of_another_record_is_told_by_its_message() {
        let place = "My sheet!B7 (Date), carried down from My sheet!B3 (Date)";
        let record = record(place, &format!("{place}: \"7/6/2026\""));
        assert_eq!(unread(&record)["/observed_on"], "7/6/2026");
    }
}
