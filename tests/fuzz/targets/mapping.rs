//! Mapping files: what reads keeps the published schema, can be written back, and means the same then.

use std::sync::LazyLock;

use intake::mapping::{MAPPING_SCHEMA, Mapping};
use intake::read::sheets::read_sheets;
use intake::sheet::table::Sheet;
use jsonschema::Validator;
use serde_json::Value;

use super::csv::hold_records;
use super::desk::{reported, submission};

static SCHEMA: LazyLock<Validator> = LazyLock::new(|| {
    let schema: Value = serde_json::from_str(MAPPING_SCHEMA).expect("the schema is JSON");
    jsonschema::validator_for(&schema).expect("the schema is a schema")
});

/// The worked tables, which a mapping is tried on.
static TABLES: LazyLock<Vec<Vec<Sheet>>> = LazyLock::new(|| {
    let texts = [
        include_bytes!("../../../sample_data/mappings/wide.csv").as_slice(),
        include_bytes!("../../../sample_data/mappings/long.csv"),
        include_bytes!("../../../sample_data/mappings/blocks.csv"),
    ];
    let sheets = texts.map(|text| {
        let file = submission(text).expect("a worked table");
        read_sheets(&file, None).expect("a worked table")
    });
    sheets.into()
});

/// Looks at one mapping file.
pub fn look(bytes: &[u8]) {
    let Ok(text) = std::str::from_utf8(bytes) else {
        return;
    };
    let Some(mapping) = reported(Mapping::read(text, "input.toml")) else {
        return;
    };
    let table: toml::Table = text.parse().expect("a mapping that reads is TOML");
    let document = serde_json::to_value(&table).expect("TOML of a mapping is JSON");
    let broken: Vec<String> = SCHEMA
        .iter_errors(&document)
        .map(|error| format!("{} at {}", error, error.instance_path()))
        .collect();
    assert!(
        broken.is_empty(),
        "it reads, but against the schema: {broken:?}"
    );
    let written = toml::to_string(&table).expect("a mapping can be written");
    let again = Mapping::read(&written, "input.toml");
    let again = again.unwrap_or_else(|failure| panic!("written back: {failure}\n{written}"));
    for sheets in TABLES.iter() {
        hold_records(&mapping, sheets);
        let one = mapping
            .records(sheets, "input")
            .map_err(|one| one.to_string());
        let other = again
            .records(sheets, "input")
            .map_err(|other| other.to_string());
        assert_eq!(
            one, other,
            "written back, it means something else\n{written}"
        );
    }
}
