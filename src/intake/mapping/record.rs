//! The draft of a visit → its document, or what is wrong with its cells, and the place of each member.
//!
//! The counts are written in [`super::sites`]. What a record must hold beyond its members being there is for
//! the schema and the trade rules, which see the document that is written here.

use serde_json::{Map, Value};

use super::draft::{Draft, sibling};
use super::member::{self, Level, MEMBERS, Member};
use super::plan::{IdPlan, Mapping};
use super::sent;
use super::utm_points::point_in_degrees;
use super::writer::Writer;
use crate::mapping::layout::table::Table;
use crate::mapping::made_id::made_id;
use crate::sheet::table::TableRecord;
use scouting::visit::code::Code;
use scouting::visit::finding::Finding;

/// Writes the record of a draft.
pub(in crate::mapping) fn record(
    draft: Draft,
    mapping: &Mapping,
    table: &Table<'_>,
) -> TableRecord {
    let line = draft.line;
    let as_sent = sent::as_sent(table, &draft.rows);
    let mut writer = Writer::new(mapping);
    let numbers: Vec<String> = draft
        .rows
        .iter()
        .map(|place| table.rows[*place].row.number.to_string())
        .collect();
    writer.rows(table.sheet, &numbers);
    writer.visit(draft);
    let (document, draft) = match writer.findings.is_empty() {
        true => (Ok(Value::Object(writer.document)), Value::Null),
        false => (Err(writer.findings), Value::Object(writer.document)),
    };
    TableRecord {
        line,
        as_sent,
        document,
        draft,
        id_recipe: mapping.rows.visit_id.as_ref().map(IdPlan::recipe),
        places: writer.places,
        submission_fixed_by: mapping.submission_fixed_by(),
        doubts: Vec::new(),
    }
}

/// What is in the amount whose unit a cell gives.
#[derive(PartialEq)]
enum Amount {
    Read,
    /// Something that could not be read: its unit is kept for the person who corrects it.
    Unreadable,
    Blank,
}

impl Writer<'_> {
    fn rows(&mut self, sheet: &str, numbers: &[String]) {
        let sheet = if sheet.is_empty() {
            String::new()
        } else {
            format!("{sheet}, ")
        };
        let rows = match numbers {
            [one] => format!("row {one}"),
            [first, .., last] => format!("rows {first} to {last}"),
            [] => String::new(),
        };
        self.places.insert(String::new(), format!("{sheet}{rows}"));
    }

    fn visit(&mut self, mut draft: Draft) {
        if draft.key_is_blank {
            let cells = draft.key_cells(&self.mapping.rows.visit_key);
            let found = format!("{}: blank", self.places[""]);
            self.findings.push(Finding::new(
                Code::KeyBlank,
                "",
                found,
                format!(
                    "a row that says to which visit it belongs, in {}; if blank repeats the row above, the mapping says fillDown = true",
                    cells.join(", ")
                ),
            ));
        }
        for (found, expected) in std::mem::take(&mut draft.indices_missing) {
            self.findings
                .push(Finding::new(Code::KeyBlank, "/sites", found, expected));
        }
        for member in MEMBERS.iter().filter(|member| member.level == Level::Visit) {
            let amount = match member::is_unit_of_amount(member) {
                true => self.amount_beside(member, &draft),
                false => Amount::Read,
            };
            // What a row lacks besides that names no visit is not worth a word.
            let missed = !draft.names_no_visit && amount == Amount::Read;
            let slot = draft.members.remove(member.pointer);
            let value = self.value(member, member.pointer, slot.as_ref(), missed);
            // The amount that a unit belongs to may be left out, and its unit is then left out too.
            if let Some(value) = value.filter(|_| amount != Amount::Blank) {
                insert(&mut self.document, member.pointer, value);
            }
        }
        self.usual("schema_version", Value::from("1.0"));
        self.usual("revision", Value::from(1));
        self.visit_id();
        if !draft.names_no_visit {
            self.point_or_county();
        }
        self.point_place("/field");
        if let Some(Value::Object(field)) = self.document.get_mut("field") {
            let zone = self.mapping.utm_of("/field/lon");
            self.findings
                .extend(point_in_degrees("/field", zone, field));
        }
        self.sites(draft.sites.into_items());
    }

    /// A field has a point, both numbers of it, or at least a county.
    fn point_or_county(&mut self) {
        let is_there = |pointer| value_at(&self.document, pointer).is_some();
        let parts = ["/field/lon", "/field/lat"];
        let missing: Vec<&str> = parts.into_iter().filter(|part| !is_there(part)).collect();
        if missing.len() == parts.len() && is_there("/field/county_id") {
            return;
        }
        for pointer in missing {
            if !self.is_faulty(pointer) {
                self.blank(member::exactly(pointer), pointer);
            }
        }
    }

    /// The amount that a unit belongs to.
    fn amount_beside(&self, unit: &Member, draft: &Draft) -> Amount {
        let amounts = ["amount", "count"].into_iter();
        let amounts: Vec<&Member> = amounts.filter_map(|name| sibling(unit, name)).collect();
        let said = |amount: &&Member| {
            let slot = draft.members.get(amount.pointer);
            slot.is_some_and(|slot| slot.said.is_some())
        };
        let read = amounts
            .iter()
            .any(|amount| value_at(&self.document, amount.pointer).is_some());
        if read || amounts.iter().any(said) {
            Amount::Read
        } else if amounts.iter().any(|amount| self.is_faulty(amount.pointer)) {
            Amount::Unreadable
        } else {
            Amount::Blank
        }
    }

    fn usual(&mut self, name: &str, value: Value) {
        let pointer = format!("/{name}");
        if !self.is_faulty(&pointer) {
            self.document.entry(name).or_insert(value);
        }
    }

    fn visit_id(&mut self) {
        let Some(plan) = &self.mapping.rows.visit_id else {
            return;
        };
        let id = made_id(&plan.recipe(), &self.document);
        self.document.insert("visit_id".to_owned(), Value::from(id));
        let members: Vec<&str> = plan.from.iter().map(|member| member.pointer).collect();
        self.places.insert(
            "/visit_id".to_owned(),
            format!("made of {}", members.join(", ")),
        );
    }
}

fn insert(document: &mut Map<String, Value>, pointer: &str, value: Value) {
    let steps: Vec<&str> = pointer.split('/').skip(1).collect();
    let Some((last, parents)) = steps.split_last() else {
        return;
    };
    let mut object = document;
    for step in parents {
        let entry = object
            .entry(*step)
            .or_insert_with(|| Value::Object(Map::new()));
        match entry {
            Value::Object(inner) => object = inner,
            _ => return,
        }
    }
    object.insert((*last).to_owned(), value);
}

/// The value at a pointer of the document.
fn value_at<'d>(document: &'d Map<String, Value>, pointer: &str) -> Option<&'d Value> {
    let mut steps = pointer.split('/').skip(1);
    let first = document.get(steps.next()?)?;
    steps.try_fold(first, |value, step| value.get(step))
}
