//! Rows of somebody's sheet → visit records, by a mapping file that a person wrote.
//!
//! A mapping says where each member of the record comes from, in the open terms of Data Package,
//! version 2 (Table Dialect, Table Schema), with JSON Pointer targets and UCUM units. It is described
//! in `schemas/mapping.schema.json` and, by three worked examples, in `sample_data/mappings`. Sheets
//! are read from files elsewhere; whether a record that comes out of here is a sound visit, the schema
//! and the trade rules say.
//!
//! The way of a sheet: [`definition`] reads the mapping as a [`plan`], [`layout`] finds header,
//! columns and rows, [`values`] reads each cell, [`group`] puts rows together, [`record`] and [`sites`] write records.
//! [`records`] takes these steps one after the other.

mod column_uses;
mod definition;
mod draft;
mod group;
pub mod id_prefixes;
mod layout;
pub mod made_id;
mod member;
mod names;
mod plain;
mod plain_text;
mod plan;
mod record;
mod records;
mod sent;
mod sites;
mod suggest;
mod utm_points;
mod values;
mod writer;

pub use self::column_uses::ColumnUse;
pub use self::layout::sheets::SheetNotRead;
pub use self::names::cell_of;
pub(crate) use self::plain::is_plain_column;
pub use self::plain::{plain_header, plain_records, plain_rows};
pub use self::plain_text::marked;
pub use self::plan::{Mapping, submission_instant};
pub(crate) use self::sent::cell_as_sent;
pub use self::sent::cell_of_sent;
pub use self::suggest::suggest;
pub(crate) use self::values::unit::{Unit, in_cell, in_own_cell};

/// The JSON Schema of mapping files, as it is published.
pub const MAPPING_SCHEMA: &str = include_str!("../../../schemas/mapping.schema.json");
