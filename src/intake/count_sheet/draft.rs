//! A visit of a count sheet as it is put together, cell by cell, and what the sheet leaves to us.

use std::collections::BTreeMap;

use serde_json::{Map, Value};

use crate::count_sheet::sheet_cells::{Placed, end_of_day};
use crate::mapping::made_id::{COUNT_SHEET_ID, made_id};
use scouting::protocol::sheet_layout::{DayForm, VisitColumn};
use scouting::visit::code::Code;
use scouting::visit::finding::Finding;

/// A visit as it is put together.
#[derive(Default)]
pub(super) struct Draft {
    pub(super) document: Map<String, Value>,
    pub(super) findings: Vec<Finding>,
    pub(super) places: BTreeMap<String, String>,
}

impl Draft {
    /// Takes a cell of the tab Visits; `days` is the form in which its column asks for days.
    pub(super) fn take(&mut self, column: VisitColumn, cell: &Placed<'_>, days: DayForm) {
        let pointer = column.pointer();
        self.places.insert(pointer.to_owned(), cell.place.clone());
        if cell.is_blank() {
            if !column.is_optional() {
                let expected = format!("{} ({}) is expected", column.name(), column.unit());
                let finding = cell.finding(Code::CellEmpty, pointer, &expected);
                self.findings.push(finding);
            }
            return;
        }
        let value = match column {
            VisitColumn::Day | VisitColumn::TreatedOn => cell.day(pointer, days),
            VisitColumn::HandedIn => cell.instant(pointer),
            VisitColumn::Longitude
            | VisitColumn::Latitude
            | VisitColumn::Area
            | VisitColumn::Cost
            | VisitColumn::Value
            | VisitColumn::Plants
            | VisitColumn::Revision => cell.number(pointer),
            // The list has small letters, and a phone writes a capital one.
            VisitColumn::Treatment => cell.text(pointer).map(in_small_letters),
            _ => cell.text(pointer),
        };
        match value {
            Ok(value) => self.set(pointer, value),
            Err(finding) => self.findings.push(finding),
        }
        if column == VisitColumn::Currency {
            // One column for both: the rules ask for one currency.
            let value = "/economics/market_value/currency";
            self.places.insert(value.to_owned(), cell.place.clone());
            if let Ok(currency) = cell.text(pointer) {
                self.set(value, currency);
            }
        }
    }

    /// The one column of the currency serves two amounts, of which one may be blank.
    pub(super) fn drop_units_alone(&mut self) {
        let Some(Value::Object(economics)) = self.document.get_mut("economics") else {
            return;
        };
        economics
            .retain(|_, member| member.get("amount").is_some() || member.get("count").is_some());
    }

    /// Puts a value at a JSON Pointer of plain names.
    pub(super) fn set(&mut self, pointer: &str, value: Value) {
        let mut object = &mut self.document;
        let mut names = pointer.split('/').skip(1).peekable();
        while let Some(name) = names.next() {
            if names.peek().is_none() {
                object.insert(name.to_owned(), value);
                return;
            }
            let member = object.entry(name).or_insert_with(|| Map::new().into());
            object = member
                .as_object_mut()
                .expect("no column's pointer leads through another's value");
        }
    }

    /// The document, with what the sheet leaves to us; or the findings.
    pub(super) fn finished(mut self) -> Result<Value, Vec<Finding>> {
        if !self.findings.is_empty() {
            return Err(self.findings);
        }
        let mut document = std::mem::take(&mut self.document);
        complete(&mut document);
        let visit_id = made_id(COUNT_SHEET_ID, &document);
        document.insert("visit_id".to_owned(), visit_id.into());
        Ok(Value::Object(document))
    }
}

fn in_small_letters(value: Value) -> Value {
    let text = value.as_str().map(str::to_lowercase);
    text.map_or(value, Value::from)
}

/// Gives a document what a count sheet leaves to us: the first revision, and the end of the visit's day as the
/// time of submission.
pub(crate) fn complete(document: &mut Map<String, Value>) {
    document.entry("revision").or_insert_with(|| 1.into());
    if let (None, Some(day)) = (
        document.get("submitted_at"),
        document.get("observed_on").and_then(Value::as_str),
    ) {
        let instant = end_of_day(day);
        document.insert("submitted_at".to_owned(), instant.into());
    }
}
