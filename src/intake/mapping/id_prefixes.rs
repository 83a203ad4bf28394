//! What is put before the ids of a sender's fields and scouts: two senders who number theirs alike then stay apart.
//!
//! It is put before an id that does not begin with it, so that an id never gets it twice, on whichever way a record
//! comes back. It is put on a visit that was judged: what is wrong with an id is wrong with or without a prefix.

use std::collections::HashMap;

use scouting::visit::code::Code;
use scouting::visit::finding::Finding;
use scouting::visit::held_id::HeldId;
use scouting::visit::record::{TEXT_LENGTH_MAX, Visit};
use serde::Serialize;
use serde_json::{Map, Value};

/// A prefix has so many characters at the most.
const LENGTH_MAX: usize = 20;

/// The prefixes of one sender; an empty one puts nothing.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize)]
pub struct IdPrefixes {
    /// Before the ids of fields.
    pub field: String,
    /// Before the ids of scouts.
    pub scout: String,
}

impl IdPrefixes {
    /// Whether there is none.
    pub fn is_none(&self) -> bool {
        self.field.is_empty() && self.scout.is_empty()
    }

    /// Puts them before the ids of a visit.
    pub(crate) fn put(&self, visit: &mut Visit) {
        visit.field.field_id = put_before(&self.field, &visit.field.field_id);
        visit.observer_id = put_before(&self.scout, &visit.observer_id);
    }

    /// What is wrong with ids that become too long by them.
    pub(crate) fn too_long(&self, visit: &Visit) -> Vec<Finding> {
        let field_id = &visit.field.field_id;
        let ids = [
            ("/field/field_id", &self.field, field_id),
            ("/observer_id", &self.scout, &visit.observer_id),
        ];
        let too_long = ids
            .into_iter()
            .filter(|(_, prefix, id)| put_before(prefix, id).chars().count() > TEXT_LENGTH_MAX);
        too_long
            .map(|(pointer, prefix, _)| {
                Finding::new(
                    Code::WrongLength,
                    pointer,
                    format!("too long with the prefix {prefix:?}"),
                    format!(
                        "an id of at most {TEXT_LENGTH_MAX} characters with its prefix is expected"
                    ),
                )
            })
            .collect()
    }

    /// Puts them before the ids of a record that was not judged yet.
    pub(crate) fn put_in(&self, record: &mut Map<String, Value>) {
        let field = record.get_mut("field");
        if let Some(Value::String(id)) = field.and_then(|field| field.get_mut("field_id")) {
            *id = put_before(&self.field, id);
        }
        if let Some(Value::String(id)) = record.get_mut("observer_id") {
            *id = put_before(&self.scout, id);
        }
    }
}

/// What each record of a submission gets: that of its sender, or of who sent the held record that it corrects.
#[derive(Debug, Clone, Default)]
pub struct SenderPrefixes {
    /// Those of who sent the submission.
    pub own: IdPrefixes,
    /// Those of who sent a held record, by its id.
    pub of_held: HashMap<HeldId, IdPrefixes>,
}

impl SenderPrefixes {
    pub(crate) fn of(&self, corrects: Option<HeldId>) -> &IdPrefixes {
        let of_held = corrects.and_then(|id| self.of_held.get(&id));
        of_held.unwrap_or(&self.own)
    }
}

/// An id with a prefix, which it may have already.
pub(crate) fn put_before(prefix: &str, id: &str) -> String {
    match id.starts_with(prefix) {
        true => id.to_owned(),
        false => format!("{prefix}{id}"),
    }
}

/// What is wrong with a prefix, in words. It ends in a sign that parts it from the id: else nobody could tell whether an
/// id has it already.
pub fn prefix_mistake(prefix: &str) -> Option<String> {
    let is_plain = |c: char| c.is_alphanumeric() || "-_. ".contains(c);
    let is_right = prefix.chars().count() <= LENGTH_MAX
        && prefix.starts_with(char::is_alphanumeric)
        && prefix.ends_with(['-', '_', '.'])
        && prefix.chars().all(is_plain);
    (!is_right).then(|| {
        format!("write at most {LENGTH_MAX} letters and figures with a hyphen, an underscore or a point at the end, as \"N-\"")
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_prefix_is_put_once() {
        assert_eq!(put_before("N-", "12"), "N-12");
        assert_eq!(put_before("N-", "N-12"), "N-12");
        assert_eq!(put_before("N-", "N12"), "N-N12");
        assert_eq!(put_before("", "12"), "12");
    }

    #[test]
    fn a_prefix_ends_in_a_sign_that_parts_it_from_the_id() {
        for right in ["N-", "North_", "n.", "North 2-"] {
            assert_eq!(prefix_mistake(right), None, "{right}");
        }
        for wrong in [
            "N",
            "",
            "-",
            "N:",
            "N/-",
            "{N-",
            "a-long-name-of-an-office-",
        ] {
            assert!(prefix_mistake(wrong).is_some(), "{wrong}");
        }
    }
}
