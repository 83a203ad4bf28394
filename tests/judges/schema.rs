//! The visit schema against independent validators.

use std::collections::BTreeMap;

use crate::support::schema::{assert_verdicts, cases};

const SCHEMA_PATH: &str = "schemas/visit.schema.json";

const EXAMPLES_PATH: &str = "schemas/visit.examples.json";

#[test]
fn python_jsonschema_gives_the_verdict_of_the_table() {
    let script = "tests/reference/check_schema.py";
    let printed = crate::judge::python(script, &[SCHEMA_PATH, EXAMPLES_PATH]);
    assert_outside_verdicts("Python's jsonschema", &printed);
}

#[test]
fn npm_ajv_gives_the_verdict_of_the_table() {
    let script = "tests/reference/check_schema.mjs";
    let printed = crate::judge::node(script, &[SCHEMA_PATH, EXAMPLES_PATH]);
    assert_outside_verdicts("npm's ajv", &printed);
}

fn assert_outside_verdicts(judge: &str, printed: &str) {
    let verdicts: BTreeMap<String, bool> =
        serde_json::from_str(printed).expect("one line of verdicts");
    let documents = cases().iter().filter(|case| !case.text_only).count();
    assert_eq!(verdicts.len(), documents, "{judge} left cases out");
    assert_verdicts(judge, |case| {
        (!case.text_only).then(|| {
            *verdicts
                .get(&case.name)
                .unwrap_or_else(|| panic!("{judge} did not judge {}", case.name))
        })
    });
}
