//! Entries of a mapping, each bent at one member, and the verdict that the file must get.

use serde_json::{Value, json};

/// A name, the members that replace those of a valid entry, whether the schema takes it, and whether the program does.
pub type FieldCase = (&'static str, Value, bool, bool);

pub fn field_cases() -> Vec<FieldCase> {
    vec![
        ("remarks", json!({}), true, true),
        ("synonyms", json!({"name": ["a", "b"]}), true, true),
        ("no target", json!({"to": null}), false, false),
        (
            "a target that is none",
            json!({"to": "/field/name"}),
            false,
            false,
        ),
        (
            "a target within a count",
            json!({"to": "/sites/{site}/heads/{head}"}),
            false,
            false,
        ),
        (
            "a placeholder that is none",
            json!({"to": "{week}"}),
            false,
            false,
        ),
        (
            "a target for one site",
            json!({"to": "/sites/2/side"}),
            true,
            true,
        ),
        ("no column", json!({"name": null}), false, false),
        ("two ways to a column", json!({"column": "C"}), false, false),
        (
            "a column by letter",
            json!({"name": null, "column": "ZZ"}),
            true,
            true,
        ),
        (
            "a column that is none",
            json!({"name": null, "column": "3"}),
            false,
            false,
        ),
        ("a cell", json!({"name": null, "cell": "B2"}), true, true),
        (
            "a cell that is none",
            json!({"name": null, "cell": "2B"}),
            false,
            false,
        ),
        ("an unknown member", json!({"color": "red"}), false, false),
        ("its type", json!({"type": "string"}), true, true),
        ("another type", json!({"type": "number"}), true, false),
        ("a type that is none", json!({"type": "any"}), false, false),
        ("a unit for a text", json!({"unit": "ha"}), true, false),
        (
            "a unit that is none",
            json!({"unit": "[acr_i]"}),
            false,
            false,
        ),
        (
            "a unit of a cell",
            json!({"unitFrom": "header"}),
            false,
            false,
        ),
        (
            "a format for a text",
            json!({"format": "%Y-%m-%d"}),
            true,
            false,
        ),
        (
            "a day",
            json!({"to": "/submitted_at", "format": "%d.%m.%Y", "utcOffset": "-05:00", "timeOfDay": "18:00"}),
            true,
            false,
        ),
        (
            "an offset that is none",
            json!({"to": "/submitted_at", "utcOffset": "CDT"}),
            false,
            false,
        ),
        (
            "a code list",
            json!({"to": "/field/farm_id", "values": {"a": "farm-1"}}),
            true,
            true,
        ),
        (
            "a code list for another type",
            json!({"to": "/field/farm_id", "values": {"a": 1}}),
            true,
            false,
        ),
        ("a code list of nothing", json!({"values": {}}), false, true),
        (
            "a code list that says one thing twice",
            json!({"to": "/field/farm_id", "values": {"a": "x", "A ": "y"}}),
            true,
            false,
        ),
        (
            "a part without its group",
            json!({"part": "^[0-9]+$"}),
            true,
            false,
        ),
        (
            "a pattern of a group too many",
            json!({"name": null, "namePattern": "^(?<week>.)$", "to": "/sites/{site}/side"}),
            true,
            false,
        ),
        (
            "a pattern with its group",
            json!({"name": null, "namePattern": "^(?<site>.)$", "to": "/sites/{site}/side"}),
            true,
            true,
        ),
        (
            "one character for two jobs",
            json!({"decimalChar": ",", "groupChar": ","}),
            true,
            false,
        ),
        (
            "words that mean nothing",
            json!({"to": "/revision", "bareNumber": false, "ignoreText": ["est", "(approx.)"]}),
            true,
            true,
        ),
        (
            "words that mean nothing where none may be",
            json!({"ignoreText": ["est"]}),
            true,
            false,
        ),
        (
            "a sign that means something",
            json!({"to": "/revision", "bareNumber": false, "ignoreText": ["%"]}),
            false,
            false,
        ),
        (
            "zeros",
            json!({"to": "/field/county_id", "zeroPad": 5}),
            true,
            true,
        ),
        ("no zeros", json!({"zeroPad": 0}), false, true),
        (
            "a default of another type",
            json!({"default": 3}),
            true,
            false,
        ),
    ]
}
