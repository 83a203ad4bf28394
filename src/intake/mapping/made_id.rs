//! The identity of a visit whose sheet has none: made of members, by a recipe.
//!
//! A recipe is a text, so that it can travel with a held record and come back with the corrected one: the same
//! visit then has the same identity, on whichever way it arrives. `field-day:{/field/field_id}:{/observed_on}`
//! joins a prefix and the values of members by colons. `{=N-/field/field_id}:` at its front puts `N-` before the ids of
//! fields, which belongs to the record and not to the identity alone: it travels with it.

use serde_json::{Map, Value};
use sha2::{Digest, Sha256};

use super::id_prefixes::{IdPrefixes, put_before};

/// The recipe of count sheets: a digest of protocol, field, day and scout.
pub const COUNT_SHEET_ID: &str = "count-sheet";

/// Members that a count sheet's identity is made of.
const COUNT_SHEET_MEMBERS: [&str; 4] = [
    "/protocol",
    "/field/field_id",
    "/observed_on",
    "/observer_id",
];

const FIELD_ID: &str = "/field/field_id";
const SCOUT_ID: &str = "/observer_id";

/// A recipe that also puts prefixes before ids.
pub(crate) fn putting(prefixes: &IdPrefixes, recipe: &str) -> String {
    let put = |prefix: &str, pointer: &str| match prefix {
        "" => String::new(),
        prefix => format!("{{={prefix}{pointer}}}:"),
    };
    put(&prefixes.field, FIELD_ID) + &put(&prefixes.scout, SCOUT_ID) + recipe
}

/// The prefixes that a recipe puts before ids, and the recipe without them.
pub(crate) fn prefixes_of(recipe: &str) -> (IdPrefixes, &str) {
    let mut prefixes = IdPrefixes::default();
    let mut rest = recipe;
    while let Some((put, after)) = rest
        .strip_prefix("{=")
        .and_then(|rest| rest.split_once("}:"))
    {
        if let Some(prefix) = put.strip_suffix(FIELD_ID) {
            prefixes.field = prefix.to_owned();
        } else if let Some(prefix) = put.strip_suffix(SCOUT_ID) {
            prefixes.scout = prefix.to_owned();
        } else {
            break;
        }
        rest = after;
    }
    (prefixes, rest)
}

/// Whether a recipe is that of count sheets.
pub fn is_of_count_sheet(recipe: &str) -> bool {
    prefixes_of(recipe).1 == COUNT_SHEET_ID
}

/// The recipe that joins a prefix and members.
pub(crate) fn recipe(prefix: Option<&str>, pointers: impl Iterator<Item = &'static str>) -> String {
    let parts = prefix.map(escaped).into_iter();
    let parts = parts.chain(pointers.map(|pointer| format!("{{{pointer}}}")));
    parts.collect::<Vec<_>>().join(":")
}

/// The identity that a recipe makes of a record. A member that is not there counts as empty.
pub fn made_id(recipe: &str, record: &Map<String, Value>) -> String {
    let (prefixes, recipe) = prefixes_of(recipe);
    let member = |pointer: &str| match pointer {
        FIELD_ID => put_before(&prefixes.field, &member(record, pointer)),
        SCOUT_ID => put_before(&prefixes.scout, &member(record, pointer)),
        pointer => member(record, pointer),
    };
    if recipe == COUNT_SHEET_ID {
        return count_sheet_id(COUNT_SHEET_MEMBERS.map(member));
    }
    let parts = recipe.split(':').map(|part| match pointer_of(part) {
        Some(pointer) => escaped(&member(pointer)),
        None => part.to_owned(),
    });
    parts.collect::<Vec<_>>().join(":")
}

/// The members that a recipe reads.
pub fn members_of(recipe: &str) -> Vec<&str> {
    match prefixes_of(recipe).1 {
        COUNT_SHEET_ID => COUNT_SHEET_MEMBERS.to_vec(),
        recipe => recipe.split(':').filter_map(pointer_of).collect(),
    }
}

fn pointer_of(part: &str) -> Option<&str> {
    part.strip_prefix('{')?
        .strip_suffix('}')
        .filter(|pointer| pointer.starts_with('/'))
}

/// A member as text.
fn member(record: &Map<String, Value>, pointer: &str) -> String {
    let mut steps = pointer.split('/').skip(1);
    let first = steps.next().and_then(|step| record.get(step));
    match steps.try_fold(first, |value, step| value.map(|value| value.get(step))) {
        Some(Some(Value::String(text))) => text.clone(),
        Some(Some(value)) => value.to_string(),
        _ => String::new(),
    }
}

/// A value within an identity: the sign that joins values cannot appear in one.
fn escaped(text: &str) -> String {
    text.replace('%', "%25").replace(':', "%3A")
}

/// The first half of the SHA-256 of the four, each with its length before it, so that no two foursomes run
/// together.
fn count_sheet_id(identity: [String; 4]) -> String {
    let mut hash = Sha256::new();
    for part in identity {
        hash.update((part.len() as u64).to_be_bytes());
        hash.update(part);
    }
    let digits = format!("{:x}", hash.finalize());
    format!("count-sheet-{}", &digits[..32])
}

#[cfg(test)]
mod tests {
    use serde_json::json;

    use super::*;

    fn record(protocol: &str, field_id: &str, day: &str, scout: &str) -> Map<String, Value> {
        let record = json!({"protocol": protocol, "field": {"field_id": field_id},
            "observed_on": day, "observer_id": scout, "revision": 2});
        record.as_object().expect("an object").clone()
    }

    #[test]
    fn visits_of_a_count_sheet_that_differ_in_one_of_four_are_two_and_others_are_one() {
        let id = |record: Map<String, Value>| made_id(COUNT_SHEET_ID, &record);
        let visit = id(record("bsm-eggs", "F-1", "2026-07-21", "obs-1"));
        assert_eq!(visit, id(record("bsm-eggs", "F-1", "2026-07-21", "obs-1")));
        for other in [
            record("bsm-adults", "F-1", "2026-07-21", "obs-1"),
            record("bsm-eggs", "F-", "12026-07-21", "obs-1"),
            record("bsm-eggs", "F-1", "2026-07-22", "obs-1"),
            record("bsm-eggs", "F-1", "2026-07-21", "obs-2"),
        ] {
            assert_ne!(visit, id(other));
        }
    }

    #[test]
    fn a_recipe_that_puts_prefixes_makes_one_identity_of_ids_with_and_without_them() {
        let prefixes = IdPrefixes {
            field: "N-".to_owned(),
            scout: "N.".to_owned(),
        };
        let bare = recipe(Some("x"), ["/field/field_id", "/observer_id"].into_iter());
        let made = putting(&prefixes, &bare);
        assert_eq!(prefixes_of(&made), (prefixes.clone(), &*bare));
        assert_eq!(members_of(&made), ["/field/field_id", "/observer_id"]);
        let plain = record("bsm-eggs", "12", "2026-07-21", "obs-1");
        let with = record("bsm-eggs", "N-12", "2026-07-21", "N.obs-1");
        assert_eq!(made_id(&made, &plain), "x:N-12:N.obs-1");
        assert_eq!(made_id(&made, &with), "x:N-12:N.obs-1");

        let of_sheet = putting(&prefixes, COUNT_SHEET_ID);
        assert!(is_of_count_sheet(&of_sheet) && is_of_count_sheet(COUNT_SHEET_ID));
        assert!(!is_of_count_sheet(&made));
        assert_eq!(made_id(&of_sheet, &plain), made_id(COUNT_SHEET_ID, &with));
        assert_eq!(putting(&IdPrefixes::default(), &bare), bare);
    }

    #[test]
    fn a_recipe_joins_its_prefix_and_members() {
        let pointers = ["/field/field_id", "/observed_on", "/revision", "/remarks"];
        let made = recipe(Some("a:b"), pointers.into_iter());
        assert_eq!(
            made,
            "a%3Ab:{/field/field_id}:{/observed_on}:{/revision}:{/remarks}"
        );
        assert_eq!(members_of(&made), pointers);
        let record = record("bsm-eggs", "F:1%", "2026-07-21", "obs-1");
        assert_eq!(made_id(&made, &record), "a%3Ab:F%3A1%25:2026-07-21:2:");
        assert_eq!(
            made_id(&recipe(None, ["/revision"].into_iter()), &record),
            "2"
        );
    }
}
