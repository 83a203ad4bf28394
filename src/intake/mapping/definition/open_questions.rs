//! The questions of a draft that nobody has answered yet: values "?" refuse a mapping, wherever they are.
//!
//! Some members would refuse "?" by themselves, others would take it for a text. A draft that is half answered must not
//! be applied, so that it is looked for before anything else is.

use scouting::failure::{Failure, Kind};

/// The value of a question.
const OPEN: &str = "?";
/// Members whose text is the sheet's or the office's own.
const OWN_TEXTS: [&str; 2] = ["name", "title"];
/// Questions that the refusal names.
const NAMED_MAX: usize = 5;

/// Refuses a mapping with open questions.
///
/// # Errors
/// A [`Failure`] that names the first of them.
pub(in crate::mapping) fn refuse_open_questions(text: &str, place: &str) -> Result<(), Failure> {
    // What is no TOML is refused by its reader, with the line.
    let Ok(document) = text.parse::<toml::Table>() else {
        return Ok(());
    };
    let mut open = Vec::new();
    for (key, value) in &document {
        find(key, value, &mut open);
    }
    if open.is_empty() {
        return Ok(());
    }
    let mut named = open
        .iter()
        .take(NAMED_MAX)
        .cloned()
        .collect::<Vec<_>>()
        .join(", ");
    if open.len() > NAMED_MAX {
        named += ", …";
    }
    let questions = if open.len() == 1 {
        "question is"
    } else {
        "questions are"
    };
    Err(Failure::new(
        Kind::Settings,
        format!("cannot use the mapping: {} {questions} open, marked by the value \"?\": {named}", open.len()),
    )
    .at(place)
    .mend("answer each \"?\" of the draft; the comment above it, which says DECIDE, says what is asked"))
}

/// The members that are open, with the members that they are in.
fn find(key: &str, value: &toml::Value, open: &mut Vec<String>) {
    match value {
        toml::Value::String(text) if text == OPEN => open.push(key.to_owned()),
        toml::Value::Table(table) => {
            for (name, value) in table
                .iter()
                .filter(|(name, _)| !OWN_TEXTS.contains(&name.as_str()))
            {
                find(&format!("{key}.{name}"), value, open);
            }
        }
        // A text "?" in a list, as of missingValues, is one of the sheet.
        toml::Value::Array(items) => {
            for item in items.iter().filter(|item| item.is_table()) {
                let named = ["name", "namePattern", "column"]
                    .iter()
                    .find_map(|name| item.get(*name));
                let key = named.map_or_else(|| key.to_owned(), |named| format!("{key} {named}"));
                find(&key, item, open);
            }
        }
        _ => {}
    }
}
