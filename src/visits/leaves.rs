//! The values of a record, each with its JSON Pointer, and where two records differ.

use std::collections::BTreeMap;

use serde_json::Value;

use scouting::visit::record::Visit;

/// The values of a visit by pointer; the counts of a site are one value. The revision is left out: it differs anyway.
pub(crate) fn leaves(visit: &Visit) -> BTreeMap<String, String> {
    let mut leaves = BTreeMap::new();
    let record = serde_json::to_value(visit).unwrap_or_default();
    take(&record, String::new(), &mut leaves);
    leaves.remove("/revision");
    leaves
}

fn take(value: &Value, pointer: String, leaves: &mut BTreeMap<String, String>) {
    match value {
        Value::Object(members) => {
            for (name, value) in members {
                take(value, format!("{pointer}/{name}"), leaves);
            }
        }
        Value::Array(items) if items.iter().all(Value::is_object) => {
            for (place, value) in items.iter().enumerate() {
                take(value, format!("{pointer}/{place}"), leaves);
            }
        }
        Value::String(text) => {
            leaves.insert(pointer, text.clone());
        }
        other => {
            leaves.insert(pointer, other.to_string());
        }
    }
}

/// Where two records differ: pointer, before and after; nothing where a value is not given.
pub(crate) fn differences(before: &Visit, after: &Visit) -> Vec<Difference> {
    let (before, after) = (leaves(before), leaves(after));
    let mut pointers: Vec<&String> = before.keys().chain(after.keys()).collect();
    pointers.sort();
    pointers.dedup();
    let differences = pointers.into_iter().map(|pointer| Difference {
        pointer: pointer.clone(),
        before: before.get(pointer).cloned(),
        after: after.get(pointer).cloned(),
    });
    differences
        .filter(|difference| difference.before != difference.after)
        .collect()
}

/// A value that differs.
#[derive(Debug, Clone, PartialEq, Eq, serde::Serialize)]
pub(crate) struct Difference {
    pub(crate) pointer: String,
    pub(crate) before: Option<String>,
    pub(crate) after: Option<String>,
}

impl Difference {
    /// `/field/area_ha: 62.4 → 65`
    pub(crate) fn text(&self) -> String {
        let shown = |value: &Option<String>| {
            let value = value.as_deref().unwrap_or("not given");
            crate::shared::unseen::plain_text(value)
        };
        format!(
            "{}: {} → {}",
            self.pointer,
            shown(&self.before),
            shown(&self.after)
        )
    }
}
