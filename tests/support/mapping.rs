//! Mapping files and the verdict that each must get.

use crate::support::mapping_fields::field_cases;
use serde_json::{Value, json};

pub const FOLDER: &str = concat!(env!("CARGO_MANIFEST_DIR"), "/sample_data/mappings");

/// A mapping of one row per visit, for tests to bend; columns A to K.
pub const BASE: &str = r#"
mapping = "1"
target = "visit/1.0"

[rows]
rowIs = "visit"

[constant]
"/submitted_at" = "2026-07-23T12:00:00Z"
"/observer_id" = "obs-9001"
"/protocol" = "bsm-eggs"
"/crop_stage" = "R3"
"/field/crop_type" = "oilseed"
"/economics/treatment_cost/amount" = 8.0
"/economics/treatment_cost/per" = "acre"
"/economics/treatment_cost/currency" = "USD"
"/economics/market_value/per" = "lb"
"/economics/market_value/currency" = "USD"
"/economics/plant_population/count" = 20000
"/economics/plant_population/per" = "acre"

[[field]]
name = "Id"
to = "/visit_id"

[[field]]
name = "Field"
to = "/field/field_id"

[[field]]
name = "Date"
to = "/observed_on"

[[field]]
name = "Lon"
to = "/field/lon"

[[field]]
name = "Lat"
to = "/field/lat"

[[field]]
name = "Area"
to = "/field/area_ha"
unit = "ha"

[[field]]
name = "Price"
to = "/economics/market_value/amount"

[[field]]
name = "Eggs"
to = "/sites/{site}/heads/{head}/{bract}"
"#;

/// A mapping file and the verdicts on it: of the schema, and of the program, which knows more.
pub struct MappingCase {
    pub name: String,
    pub document: Value,
    pub keeps_schema: bool,
    pub is_taken: bool,
}

pub fn mapping_cases() -> Vec<MappingCase> {
    let base: Value =
        serde_json::to_value(toml::from_str::<toml::Value>(BASE).expect("TOML")).expect("JSON");
    let bent = |pointer: &str, value: Value| {
        let mut document = base.clone();
        let (parent, last) = pointer.rsplit_once('/').expect("a pointer");
        let last = last.replace("~1", "/");
        let parent = document.pointer_mut(parent).expect("a parent");
        match (parent, value) {
            (Value::Object(object), Value::Null) => {
                object.remove(&last);
            }
            (Value::Object(object), value) => {
                object.insert(last, value);
            }
            (Value::Array(items), value) if last == "-" => items.push(value),
            (Value::Array(items), value) => items[last.parse::<usize>().expect("a place")] = value,
            _ => panic!("{pointer}"),
        }
        document
    };
    let both = |name: &str, pointer: &str, value: Value, accepted: bool| MappingCase {
        name: name.to_owned(),
        document: bent(pointer, value),
        keeps_schema: accepted,
        is_taken: accepted,
    };
    // What a schema cannot express, or what is valid only together.
    let ours = |name: &str, pointer: &str, value: Value| MappingCase {
        name: name.to_owned(),
        document: bent(pointer, value),
        keeps_schema: true,
        is_taken: false,
    };
    let field = |members: Value| {
        let mut field = json!({"name": "X", "to": "/remarks"});
        for (name, value) in members.as_object().expect("an object") {
            if value.is_null() {
                field.as_object_mut().expect("an object").remove(name);
            } else {
                field[name] = value.clone();
            }
        }
        field
    };
    let mut cases = vec![
        both("the base", "/title", json!("a title"), true),
        both("another version", "/mapping", json!("2"), false),
        both("a version that is a number", "/mapping", json!(1), false),
        both("another target", "/target", json!("visit/2.0"), false),
        both("an unknown member", "/color", json!("red"), false),
        both("no rows", "/rows", Value::Null, false),
        both("no fields", "/field", Value::Null, false),
        both(
            "an unknown kind of row",
            "/rows/rowIs",
            json!("week"),
            false,
        ),
        both(
            "an unknown member of rows",
            "/rows/groupBy",
            json!([]),
            false,
        ),
        both(
            "a site key that is none",
            "/rows/siteKey",
            json!(["/field/field_id"]),
            false,
        ),
        both(
            "a visit key that is none",
            "/rows/visitKey",
            json!(["/field"]),
            false,
        ),
        both(
            "a blank key that is none",
            "/rows/blankKey",
            json!("guess"),
            false,
        ),
        both(
            "blank units that are not examined",
            "/rows/blankUnits",
            json!("notExamined"),
            true,
        ),
        both(
            "two choices of sheets",
            "/dialect",
            json!({"sheetName": "a", "sheetNumber": 1}),
            false,
        ),
        both(
            "a sheet number 0",
            "/dialect",
            json!({"sheetNumber": 0}),
            false,
        ),
        both(
            "an unknown member of the dialect",
            "/dialect",
            json!({"delimiter": ";"}),
            false,
        ),
        both(
            "header rows",
            "/dialect",
            json!({"headerRows": [2, 3], "headerJoin": " / "}),
            true,
        ),
        both(
            "a header row 0",
            "/dialect",
            json!({"headerRows": [0]}),
            false,
        ),
        both(
            "no header row",
            "/dialect",
            json!({"headerRows": []}),
            false,
        ),
        both(
            "missing values",
            "/schema",
            json!({"missingValues": ["-"], "decimalChar": ","}),
            true,
        ),
        both(
            "a decimal character of two",
            "/schema",
            json!({"decimalChar": ".,"}),
            false,
        ),
        both(
            "a date system that is none",
            "/schema",
            json!({"dateSystem": 1970}),
            false,
        ),
        both(
            "a constant for no member",
            "/constant/~1pest",
            json!("moth"),
            false,
        ),
        both(
            "a constant for a count",
            "/constant/~1sites~1{site}~1plants~1{plant}",
            json!(1),
            false,
        ),
        both(
            "a constant that is a list",
            "/constant/~1remarks",
            json!(["a"]),
            false,
        ),
        both(
            "ignored columns",
            "/ignore",
            json!(["a", {"column": "K"}, {"namePattern": "^x"}]),
            true,
        ),
        both(
            "an ignored column of no kind",
            "/ignore",
            json!([{"row": 1}]),
            false,
        ),
        both(
            "a skip without a pattern",
            "/skip",
            json!([{"name": "Id"}]),
            false,
        ),
        both(
            "a skip of two columns",
            "/skip",
            json!([{"name": "Id", "column": "A", "matches": "a"}]),
            false,
        ),
        both(
            "a skip",
            "/skip",
            json!([{"name": "Id", "matches": "^Total"}]),
            true,
        ),
        both(
            "a block",
            "/block",
            json!([{"matches": "^Site (?<Site>[0-9]+)$"}]),
            true,
        ),
        both("a block without a pattern", "/block", json!([{}]), false),
        both(
            "an id of no members",
            "/visitId",
            json!({"from": []}),
            false,
        ),
        ours(
            "an id beside the column for it",
            "/visitId",
            json!({"from": ["/field/field_id"]}),
        ),
        ours(
            "a member with two sources",
            "/constant/~1field~1field_id",
            json!("F-1"),
        ),
        ours(
            "a required member without a source",
            "/constant/~1crop_stage",
            Value::Null,
        ),
        ours(
            "a pattern that is none",
            "/skip",
            json!([{"name": "Id", "matches": "("}]),
        ),
        ours(
            "a block without a group",
            "/block",
            json!([{"matches": "^Site$"}]),
        ),
        ours(
            "a visit key for rows that are visits",
            "/rows/visitKey",
            json!(["/visit_id"]),
        ),
        ours(
            "rows that are heads of no known visit",
            "/rows/rowIs",
            json!("head"),
        ),
        ours(
            "header rows backwards",
            "/dialect",
            json!({"headerRows": [3, 2]}),
        ),
        ours(
            "a question of a draft",
            "/constant/~1crop_stage",
            json!("?"),
        ),
        ours(
            "a constant of another type",
            "/constant/~1crop_stage",
            json!(3),
        ),
    ];
    for (name, members, keeps_schema, is_taken) in field_cases() {
        cases.push(MappingCase {
            name: format!("field: {name}"),
            document: bent("/field/-", field(members)),
            keeps_schema,
            is_taken,
        });
    }
    for name in ["wide", "long", "blocks"] {
        let text = std::fs::read_to_string(format!("{FOLDER}/{name}.toml")).expect("a mapping");
        let document = toml::from_str::<toml::Value>(&text).expect("TOML");
        cases.push(MappingCase {
            name: name.to_owned(),
            document: serde_json::to_value(document).expect("JSON"),
            keeps_schema: true,
            is_taken: true,
        });
    }
    cases
}
