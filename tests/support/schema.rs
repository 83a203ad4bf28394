//! Documents and the verdict of the visit schema on each.

use std::collections::BTreeMap;

use serde::{Deserialize, Deserializer};
use serde_json::Value;
use serde_json::value::RawValue;

pub const EXAMPLES: &str = include_str!("../../schemas/visit.examples.json");

/// A row of the table. `document` is what a validator judges; `text` what only reading can refuse.
#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Case {
    pub name: String,
    pub valid: bool,
    pub why: String,
    #[serde(default)]
    pub text_only: bool,
    #[serde(default, deserialize_with = "verbatim")]
    pub document: Option<Box<RawValue>>,
    pub text: Option<String>,
    /// JSON Pointer of a list → the length to which its first item is repeated.
    #[serde(default)]
    pub repeat: BTreeMap<String, usize>,
}

impl Case {
    /// The text as a scout would send it, with its numbers spelled as in the table.
    pub fn as_sent(&self) -> String {
        match (&self.document, &self.text) {
            (Some(document), None) if self.repeat.is_empty() => document.get().to_owned(),
            (Some(document), None) => grow(document.get(), &self.repeat).to_string(),
            (None, Some(text)) => text.clone(),
            _ => panic!("{}: a case has a document or a text, never both", self.name),
        }
    }
}

pub fn grow(document: &str, lengths: &BTreeMap<String, usize>) -> Value {
    let mut document: Value = serde_json::from_str(document).expect("a document is JSON");
    for (pointer, length) in lengths {
        let items = document.pointer_mut(pointer).and_then(Value::as_array_mut);
        let items = items.expect("`repeat` names a list");
        let first = items[0].clone();
        items.resize(*length, first);
    }
    document
}

pub fn cases() -> Vec<Case> {
    serde_json::from_str(EXAMPLES).expect("the table of examples is JSON")
}

/// Fails with every case whose verdict is not the table's.
pub fn assert_verdicts(judge: &str, verdict: impl Fn(&Case) -> Option<bool>) {
    let disagreements: Vec<String> = cases()
        .iter()
        .filter(|case| verdict(case).is_some_and(|accepted| accepted != case.valid))
        .map(|case| format!("{} (valid: {}, {})", case.name, case.valid, case.why))
        .collect();
    assert!(
        disagreements.is_empty(),
        "{judge} disagrees on {} cases:\n  {}",
        disagreements.len(),
        disagreements.join("\n  ")
    );
}

/// Keeps the spelling, and takes a `null` for the document that it is.
fn verbatim<'de, D: Deserializer<'de>>(deserializer: D) -> Result<Option<Box<RawValue>>, D::Error> {
    Box::<RawValue>::deserialize(deserializer).map(Some)
}
