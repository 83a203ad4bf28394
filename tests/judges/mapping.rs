//! Mapping files against an independent validator of their schema.

use std::collections::BTreeMap;

use serde_json::{Value, json};

use crate::support::mapping::mapping_cases;

#[test]
fn python_jsonschema_judges_mapping_files_as_ours_does() {
    let cases = mapping_cases();
    let table: Vec<Value> = cases
        .iter()
        .map(|case| json!({"name": case.name, "document": case.document}))
        .collect();
    let folder = tempfile::tempdir().expect("a temporary folder");
    let path = folder.path().join("mappings.json");
    std::fs::write(&path, Value::from(table).to_string()).expect("a file");
    let path = path.display().to_string();
    let printed = crate::judge::python(
        "tests/reference/check_schema.py",
        &["schemas/mapping.schema.json", &path],
    );
    let verdicts: BTreeMap<String, bool> =
        serde_json::from_str(&printed).expect("one line of verdicts");
    assert_eq!(verdicts.len(), cases.len(), "a name appears twice");
    for case in cases {
        assert_eq!(verdicts[&case.name], case.keeps_schema, "{}", case.name);
    }
}
