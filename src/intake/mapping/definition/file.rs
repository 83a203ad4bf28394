//! A mapping file as it is written: TOML, member by member as `schemas/mapping.schema.json` has it.
//!
//! Whether it makes sense is [`crate::mapping::definition::check`]'s to say. Members whose names come from Table Dialect
//! and Table Schema (Data Package, version 2) mean what they mean there.

use std::collections::BTreeMap;

use serde::Deserialize;

/// The whole file.
#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields, rename_all = "camelCase")]
pub(in crate::mapping) struct MappingFile {
    pub mapping: String,
    pub target: String,
    /// For readers of the file.
    #[serde(default, rename = "title")]
    pub _title: Option<String>,
    #[serde(default)]
    pub sender: Option<String>,
    #[serde(default)]
    pub ignore: Vec<IgnoreEntry>,
    #[serde(default)]
    pub dialect: Dialect,
    #[serde(default)]
    pub schema: Schema,
    pub rows: Rows,
    #[serde(default)]
    pub visit_id: Option<VisitId>,
    #[serde(default)]
    pub constant: BTreeMap<String, toml::Value>,
    #[serde(default)]
    pub skip: Vec<SkipEntry>,
    #[serde(default)]
    pub block: Vec<BlockEntry>,
    #[serde(default)]
    pub join: Vec<JoinEntry>,
    pub field: Vec<FieldEntry>,
}

/// Which sheets and rows hold the table.
#[derive(Debug, Default, Deserialize)]
#[serde(deny_unknown_fields, rename_all = "camelCase")]
pub(in crate::mapping) struct Dialect {
    pub sheet_name: Option<OneOrMany>,
    pub sheet_number: Option<usize>,
    pub sheet_pattern: Option<String>,
    #[serde(default)]
    pub ignore_sheets: Vec<String>,
    pub header: Option<bool>,
    pub header_rows: Option<Vec<u64>>,
    pub header_join: Option<String>,
    pub header_fill: Option<bool>,
    #[serde(default)]
    pub comment_rows: Vec<u64>,
    #[serde(default)]
    pub transpose: bool,
    pub records: Option<String>,
    pub rows_of: Option<String>,
}

/// What holds for every field that does not say otherwise.
#[derive(Debug, Default, Deserialize)]
#[serde(deny_unknown_fields, rename_all = "camelCase")]
pub(in crate::mapping) struct Schema {
    #[serde(default)]
    pub missing_values: Vec<String>,
    pub decimal_char: Option<String>,
    pub group_char: Option<String>,
    pub date_system: Option<i64>,
}

/// How rows make visits.
#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields, rename_all = "camelCase")]
pub(in crate::mapping) struct Rows {
    pub row_is: RowIs,
    #[serde(default)]
    pub visit_key: Vec<String>,
    #[serde(default)]
    pub site_key: Vec<String>,
    #[serde(default)]
    pub blank_key: BlankKey,
    #[serde(default)]
    pub blank_units: BlankUnits,
}

/// What one row represents.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Deserialize)]
#[serde(rename_all = "lowercase")]
pub(in crate::mapping) enum RowIs {
    Visit,
    Site,
    Head,
    Plant,
    Trap,
    Unit,
    Bract,
}

/// What a row means whose key cells are all blank.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, Deserialize)]
#[serde(rename_all = "lowercase")]
pub(in crate::mapping) enum BlankKey {
    #[default]
    Hold,
    Continues,
}

/// What a unit means whose counts are all blank.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, Deserialize)]
#[serde(rename_all = "camelCase")]
pub(in crate::mapping) enum BlankUnits {
    #[default]
    Hold,
    NotExamined,
}

/// How the identity of a visit is made of its members.
#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields, rename_all = "camelCase")]
pub(in crate::mapping) struct VisitId {
    pub from: Vec<String>,
    pub prefix: Option<String>,
    pub field_prefix: Option<String>,
    pub scout_prefix: Option<String>,
}

/// Rows to be left out.
#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields, rename_all = "camelCase")]
pub(in crate::mapping) struct SkipEntry {
    pub name: Option<OneOrMany>,
    pub column: Option<String>,
    pub matches: String,
}

/// Title rows that say something about the rows below them.
#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields, rename_all = "camelCase")]
pub(in crate::mapping) struct BlockEntry {
    pub matches: String,
}

/// A sheet with further columns of the same things, found by a column that both sheets have.
#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields, rename_all = "camelCase")]
pub(in crate::mapping) struct JoinEntry {
    pub sheet_name: String,
    pub name: OneOrMany,
    pub header_row: Option<u64>,
}

/// A column that may hold what no member takes: by name, or one of the other ways.
#[derive(Debug, Deserialize)]
#[serde(untagged)]
pub(in crate::mapping) enum IgnoreEntry {
    Name(String),
    Column(IgnoredColumn),
}

/// A column to be ignored, by its letter or by a pattern.
#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields, rename_all = "camelCase")]
pub(in crate::mapping) struct IgnoredColumn {
    pub column: Option<String>,
    pub name_pattern: Option<String>,
}

/// Where one member comes from.
#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields, rename_all = "camelCase")]
pub(in crate::mapping) struct FieldEntry {
    pub name: Option<OneOrMany>,
    pub column: Option<String>,
    pub name_pattern: Option<String>,
    pub cell: Option<String>,
    pub together: Option<Vec<String>>,
    pub to: String,
    #[serde(rename = "type")]
    pub kind: Option<String>,
    pub format: Option<OneOrMany>,
    pub year: Option<i16>,
    pub hemisphere: Option<String>,
    pub utm_zone: Option<String>,
    pub date_system: Option<i64>,
    pub utc_offset: Option<String>,
    pub time_of_day: Option<String>,
    pub decimal_char: Option<String>,
    pub group_char: Option<String>,
    pub bare_number: Option<bool>,
    #[serde(default)]
    pub ignore_text: Vec<String>,
    #[serde(default)]
    pub fractions: bool,
    pub unit: Option<String>,
    pub unit_from: Option<UnitFrom>,
    pub missing_values: Option<Vec<String>>,
    #[serde(default)]
    pub values: BTreeMap<String, toml::Value>,
    pub true_values: Option<Vec<String>>,
    pub false_values: Option<Vec<String>>,
    pub default: Option<toml::Value>,
    #[serde(default)]
    pub fill_down: bool,
    #[serde(default)]
    pub optional: bool,
    pub zero_pad: Option<usize>,
    pub part: Option<String>,
}

/// Where the unit of a number is, if not in the mapping.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Deserialize)]
#[serde(rename_all = "lowercase")]
pub(in crate::mapping) enum UnitFrom {
    Cell,
}

/// One text, or several that mean the same.
#[derive(Debug, Clone, Deserialize)]
#[serde(untagged)]
pub(in crate::mapping) enum OneOrMany {
    One(String),
    Many(Vec<String>),
}

impl OneOrMany {
    /// All of them.
    pub(crate) fn all(&self) -> &[String] {
        match self {
            OneOrMany::One(one) => std::slice::from_ref(one),
            OneOrMany::Many(many) => many,
        }
    }
}
