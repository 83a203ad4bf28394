//! The identity of a record that comes back corrected: made again of its members, by the recipe that its sheet or the held
//! record has.

use std::mem::take;

use serde_json::{Map, Value};

use crate::corrections::sent_out::ID_RECIPE;
use crate::count_sheet::draft::complete;
use crate::mapping::made_id::{is_of_count_sheet, made_id};
use crate::sheet::table::TableRecord;
use scouting::visit::code::Code;
use scouting::visit::finding::Finding;

pub(crate) const VISIT_ID: &str = "visit_id";
/// The text in place of an identity that is made later.
pub(crate) const TO_BE_MADE: &str = "to be made";

/// The record with the identity that a recipe makes of it, which its sheet has lost; a record that bears its own keeps it.
pub(crate) fn identified_by(mut record: TableRecord, recipe: Option<&str>) -> TableRecord {
    let is_to_be_made = |visit: &Value| visit.get(VISIT_ID) == Some(&Value::from(TO_BE_MADE));
    let read = record.document.as_mut().unwrap_or(&mut record.draft);
    if !is_to_be_made(read) {
        return record;
    }
    if recipe.is_some() {
        return settled(record, recipe);
    }
    let mut visit = take(read);
    if let Some(members) = visit.as_object_mut() {
        members.remove(VISIT_ID);
    }
    let found = record.place("/visit_id").unwrap_or_default();
    let found = format!("{found}: blank, and the sheet has no column {ID_RECIPE}");
    let expected = "the id of the visit, or that column as it was sent out";
    let blank = Finding::new(Code::KeyBlank, "/visit_id", found, expected);
    let mut findings = record.document.err().unwrap_or_default();
    findings.push(blank);
    record.draft = visit;
    record.document = Err(findings);
    record
}

/// The record with what is left to us: its identity, and for a count sheet the time of submission.
pub(crate) fn settled(mut record: TableRecord, recipe: Option<&str>) -> TableRecord {
    let Some(recipe) = recipe else {
        return record;
    };
    let read = record.document.as_mut().unwrap_or(&mut record.draft);
    let mut document = read.as_object_mut().map(take).unwrap_or_default();
    settle(&mut document, recipe);
    if let Err(findings) = &mut record.document {
        findings.retain(|finding| {
            finding.pointer != "/submitted_at" || !document.contains_key("submitted_at")
        });
    }
    match &record.document {
        Err(findings) if !findings.is_empty() => record.draft = Value::Object(document),
        _ => record.document = Ok(Value::Object(document)),
    }
    record.id_recipe = Some(recipe.to_owned());
    record
}

/// Makes the identity of a record that bears none of its own.
pub(crate) fn settle(document: &mut Map<String, Value>, recipe: &str) {
    if is_of_count_sheet(recipe) {
        complete(document);
    }
    let own = document.get("visit_id").and_then(Value::as_str);
    if own.is_none_or(|own| own == TO_BE_MADE) {
        let made = made_id(recipe, document);
        document.insert("visit_id".to_owned(), made.into());
    }
}
