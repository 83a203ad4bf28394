//! The visit schema is one contract: our validator and our typed reading give the verdict of the table on every
//! example, and typed reading and schema agree on random damage. Not here: the trade rules, and how
//! findings are worded.

use std::collections::BTreeMap;

use jsonschema::Validator;
use proptest::prelude::*;
use proptest::sample::Index;
use scouting::visit::record::Visit;
use serde_json::{Map, Value, json};

use crate::support::schema::{assert_verdicts, cases};

const SCHEMA: &str = include_str!("../schemas/visit.schema.json");

fn validator() -> Validator {
    let schema: Value = serde_json::from_str(SCHEMA).expect("the schema is JSON");
    jsonschema::draft202012::meta::validate(&schema).expect("the schema keeps its meta-schema");
    jsonschema::draft202012::options()
        .should_validate_formats(true)
        .build(&schema)
        .expect("the schema compiles")
}

fn typed_accepts(text: &str) -> bool {
    serde_json::from_str::<Visit>(text).is_ok_and(|visit| visit.conforms())
}

#[test]
fn the_table_has_each_name_once_and_both_verdicts() {
    let cases = cases();
    let names: BTreeMap<&str, bool> = cases.iter().map(|c| (c.name.as_str(), c.valid)).collect();
    assert_eq!(names.len(), cases.len(), "a name appears twice");
    assert!(cases.len() >= 90);
    assert!(cases.iter().any(|case| case.valid) && cases.iter().any(|case| !case.valid));
    for case in &cases {
        assert!(!case.why.is_empty(), "{} says no why", case.name);
        assert_eq!(case.text_only, case.text.is_some(), "{}", case.name);
        assert!(!(case.text_only && case.valid), "{}", case.name);
    }
}

#[test]
fn our_validator_gives_the_verdict_of_the_table() {
    let validator = validator();
    assert_verdicts("the jsonschema crate", |case| {
        let text = (!case.text_only).then(|| case.as_sent())?;
        let document = serde_json::from_str(&text).expect("a document is JSON");
        Some(validator.is_valid(&document))
    });
}

#[test]
fn typed_reading_gives_the_verdict_of_the_table() {
    assert_verdicts("typed reading", |case| Some(typed_accepts(&case.as_sent())));
}

/// One way of damaging a document. The index picks the place, among all values of the document.
#[derive(Debug, Clone)]
enum Damage {
    Delete(Index),
    Replace(Index, Value),
    AddMember(Index, String, Value),
    AddCharacter(Index, Index, char),
    SwapCharacter(Index, Index, char),
    Lengthen(Index, usize),
    RepeatItem(Index),
    /// An object becomes the list of its values; anything else a list of itself.
    MakeList(Index),
    /// A text becomes an object with that one member, as some readers take an enum.
    MakeObject(Index),
}

fn odd_number() -> impl Strategy<Value = Value> {
    let edges = [
        -1e308,
        -1e9,
        -180.1,
        -90.1,
        -1.0,
        -0.0,
        0.0,
        5e-324,
        0.5,
        1.0,
        3.0,
        90.0,
        90.1,
        100.0,
        180.0,
        180.1,
        366.0,
        367.0,
        1e6,
        1_000_001.0,
        1e9,
        1_000_000_001.0,
        4_294_967_296.0,
        1e20,
        1e308,
    ];
    let wholes = [
        i64::MIN,
        -1,
        0,
        1,
        90,
        91,
        180,
        181,
        366,
        367,
        1_000_000,
        1_000_001,
        1_000_000_000,
        1_000_000_001,
        4_294_967_295,
        4_294_967_296,
        i64::MAX,
    ];
    prop_oneof![
        proptest::sample::select(edges.to_vec()).prop_map(|number| json!(number)),
        proptest::sample::select(wholes.to_vec()).prop_map(|number| json!(number)),
        Just(json!(u64::MAX)),
        (-200.0..200.0).prop_map(|number| json!(number)),
        (-2i64..1_000_002).prop_map(|number| json!(number)),
        any::<i64>().prop_map(|number| json!(number)),
        proptest::num::f64::NORMAL.prop_map(|number| json!(number)),
    ]
}

fn odd_character() -> impl Strategy<Value = char> {
    let telling = "\0\t\n\u{b}\r\u{1f} !0129-:.TZtz+acehA~\u{7f}\u{80}\u{85}\u{9f}\u{a0}\u{300}\
                   \u{660}\u{2028}\u{feff}\u{ffff}\u{1f33b}";
    prop_oneof![
        4 => proptest::sample::select(telling.chars().collect::<Vec<_>>()),
        1 => any::<char>(),
    ]
}

fn odd_value() -> impl Strategy<Value = Value> {
    let telling = vec![
        json!(null),
        json!(true),
        json!(false),
        json!(""),
        json!("x"),
        json!("1"),
        json!("acre"),
        json!("kg"),
        json!("USD"),
        json!("2026-02-29"),
        json!("2024-02-29"),
        json!("Polygon"),
        json!("2026-07-21T18:03:00+05:30"),
        json!([]),
        json!({}),
        json!([0]),
        json!([[0]]),
        json!({"acre": null}),
        json!([{"catch": 1, "nights": 1}]),
    ];
    let character = proptest::collection::vec(odd_character(), 0..12);
    prop_oneof![
        proptest::sample::select(telling),
        odd_number(),
        character.prop_map(|characters| Value::String(characters.into_iter().collect())),
    ]
}

fn member_name() -> impl Strategy<Value = String> {
    let known = [
        "remarks",
        "retracted",
        "treated_on",
        "treatment",
        "farm_id",
        "county_id",
        "outline",
        "side",
        "lon",
        "lat",
        "heads",
        "plants",
        "traps",
        "catch",
        "currency",
        "extra",
        "",
    ];
    proptest::sample::select(known.to_vec()).prop_map(str::to_owned)
}

fn damage() -> impl Strategy<Value = Damage> {
    let place = any::<Index>;
    let lengths = vec![3usize, 10, 99, 100, 101, 199, 200, 201, 4_000, 4_001];
    prop_oneof![
        2 => place().prop_map(Damage::Delete),
        4 => (place(), odd_value()).prop_map(|(at, value)| Damage::Replace(at, value)),
        4 => (place(), odd_number()).prop_map(|(at, value)| Damage::Replace(at, value)),
        3 => (place(), member_name(), odd_value())
            .prop_map(|(at, name, value)| Damage::AddMember(at, name, value)),
        4 => (place(), place(), odd_character())
            .prop_map(|(at, before, new)| Damage::AddCharacter(at, before, new)),
        6 => (place(), place(), odd_character())
            .prop_map(|(at, old, new)| Damage::SwapCharacter(at, old, new)),
        1 => (place(), proptest::sample::select(lengths))
            .prop_map(|(at, length)| Damage::Lengthen(at, length)),
        1 => place().prop_map(Damage::RepeatItem),
        1 => place().prop_map(Damage::MakeList),
        1 => place().prop_map(Damage::MakeObject),
    ]
}

/// The JSON Pointers of all values of a kind, the document itself first.
fn places(document: &Value, wanted: fn(&Value) -> bool) -> Vec<String> {
    fn walk(value: &Value, here: &str, wanted: fn(&Value) -> bool, found: &mut Vec<String>) {
        if wanted(value) {
            found.push(here.to_owned());
        }
        match value {
            Value::Object(members) => {
                for (name, member) in members {
                    walk(member, &format!("{here}/{name}"), wanted, found);
                }
            }
            Value::Array(items) => {
                for (index, item) in items.iter().enumerate() {
                    walk(item, &format!("{here}/{index}"), wanted, found);
                }
            }
            _ => {}
        }
    }
    let mut found = Vec::new();
    walk(document, "", wanted, &mut found);
    found
}

/// The value that the index picks among those of a kind, if there is any.
fn pick<'a>(
    document: &'a mut Value,
    at: &Index,
    wanted: fn(&Value) -> bool,
) -> Option<&'a mut Value> {
    let places = places(document, wanted);
    let pointer = (!places.is_empty()).then(|| at.get(&places))?;
    document.pointer_mut(pointer)
}

fn edit_text(document: &mut Value, at: &Index, edit: impl FnOnce(&mut Vec<char>)) {
    if let Some(Value::String(text)) = pick(document, at, Value::is_string) {
        let mut characters: Vec<char> = text.chars().collect();
        edit(&mut characters);
        *text = characters.into_iter().collect();
    }
}

fn apply(document: &mut Value, damage: &Damage) {
    match damage {
        Damage::Delete(at) => {
            let container = |value: &Value| match value {
                Value::Object(members) => !members.is_empty(),
                Value::Array(items) => !items.is_empty(),
                _ => false,
            };
            match pick(document, at, container) {
                Some(Value::Object(members)) => {
                    let name = at.get(&members.keys().cloned().collect::<Vec<_>>()).clone();
                    members.remove(&name);
                }
                Some(Value::Array(items)) => {
                    items.remove(at.index(items.len()));
                }
                _ => {}
            }
        }
        Damage::Replace(at, value) => {
            if let Some(place) = pick(document, at, |_| true) {
                *place = value.clone();
            }
        }
        Damage::AddMember(at, name, value) => {
            if let Some(Value::Object(members)) = pick(document, at, Value::is_object) {
                members.insert(name.clone(), value.clone());
            }
        }
        Damage::AddCharacter(at, before, new) => edit_text(document, at, |characters| {
            characters.insert(before.index(characters.len() + 1), *new);
        }),
        Damage::SwapCharacter(at, old, new) => edit_text(document, at, |characters| {
            if !characters.is_empty() {
                let old = old.index(characters.len());
                characters[old] = *new;
            }
        }),
        Damage::Lengthen(at, length) => edit_text(document, at, |characters| {
            characters.resize(*length, '\u{1f33b}');
        }),
        Damage::RepeatItem(at) => {
            if let Some(Value::Array(items)) = pick(document, at, Value::is_array) {
                items.extend(items.first().cloned());
            }
        }
        Damage::MakeList(at) => {
            if let Some(place) = pick(document, at, |_| true) {
                *place = match place.take() {
                    Value::Object(members) => members.into_iter().map(|(_, value)| value).collect(),
                    other => json!([other]),
                };
            }
        }
        Damage::MakeObject(at) => {
            if let Some(place) = pick(document, at, Value::is_string) {
                let name = place.as_str().unwrap_or_default().to_owned();
                *place = Value::Object(Map::from_iter([(name, Value::Null)]));
            }
        }
    }
}

#[test]
fn typed_reading_and_schema_agree_on_damaged_documents() {
    let validator = validator();
    let whole: Vec<Value> = cases()
        .iter()
        .filter(|case| case.valid && case.repeat.is_empty())
        .map(|case| serde_json::from_str(&case.as_sent()).expect("a valid document is JSON"))
        .collect();
    let damages = proptest::collection::vec(damage(), 1..4);
    let strategy = (proptest::sample::select(whole), damages);
    let mut runner = proptest::test_runner::TestRunner::new(ProptestConfig {
        cases: 20_000,
        failure_persistence: None,
        ..ProptestConfig::default()
    });
    let accepted = std::cell::Cell::new(0u32);
    let outcome = runner.run(&strategy, |(mut document, damages)| {
        for damage in &damages {
            apply(&mut document, damage);
        }
        let text = document.to_string();
        let typed = typed_accepts(&text);
        // Both ways without exception: what only the text can hold is in the table.
        prop_assert_eq!(
            typed,
            validator.is_valid(&document),
            "typed, schema: {}",
            text
        );
        accepted.set(accepted.get() + u32::from(typed));
        Ok(())
    });
    if let Err(failure) = outcome {
        panic!("{failure}");
    }
    // Damage that always breaks, or never does, would prove nothing.
    assert!((500..19_500).contains(&accepted.get()), "{accepted:?}");
}
