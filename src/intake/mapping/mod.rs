//! Rows of somebody's sheet → visit records, by a mapping file that a person wrote.
//!
//! A mapping says where each member of the record comes from, in the open terms of Data Package,
//! version 2 (Table Dialect, Table Schema), with JSON Pointer targets and UCUM units. It is described
//! in `schemas/mapping.schema.json` and, by three worked examples, in `sample_data/mappings`. Sheets
//! are read from files elsewhere; whether a record that comes out of here is a sound visit, the schema
//! and the trade rules say.
//!
//! The way of a sheet: [`definition`] reads the mapping, [`sheets`], [`columns`] and [`rows`] find header,
//! columns and rows, [`values`] reads each cell, [`group`] puts rows together, [`record`] and [`sites`] write records.

use std::collections::BTreeMap;

use regex::Regex;
use serde_json::Value;

mod columns;
mod definition;
mod draft;
mod group;
pub mod made_id;
mod member;
mod names;
mod plain;
mod record;
mod rows;
mod sent;
mod sheets;
mod sites;
mod suggest;
mod unmentioned;
mod values;

use self::definition::file::{BlankKey, BlankUnits, RowIs};
use self::member::{Keys, Kind, Level, Member};
use self::values::cells::Reading;
use crate::mapping::made_id::recipe;
use crate::sheet::table::{Sheet, TableRecord};
use scouting::failure::{Failure, Kind as FailureKind};

pub use self::names::cell_of;
pub use self::plain::{marked, plain_header, plain_records, plain_rows};
pub use self::sent::{cell_as_sent, cell_of_sent};
pub use self::suggest::suggest;

/// The JSON Schema of mapping files, as it is published.
pub const MAPPING_SCHEMA: &str = include_str!("../../../schemas/mapping.schema.json");

/// A mapping that was read and checked.
#[derive(Debug, Clone)]
pub struct Mapping {
    place: String,
    form: TableForm,
    fields: Vec<Field>,
    constants: Vec<Constant>,
    rows: RowPlan,
    skips: Vec<Skip>,
    blocks: Vec<Regex>,
    ignored: Vec<Ignored>,
    submitted_at: Option<String>,
    sender: Option<String>,
    /// Whether this is our own layout, in which text is taken to the letter.
    plain: bool,
}

/// Which sheets and rows hold the table.
#[derive(Debug, Clone)]
struct TableForm {
    sheet: SheetChoice,
    ignored_sheets: Vec<String>,
    header_rows: Vec<u64>,
    header_join: String,
    header_fill: bool,
    comment_rows: Vec<u64>,
}

#[derive(Debug, Clone)]
enum SheetChoice {
    TheOnlyOne,
    Names(Vec<String>),
    Number(usize),
    Pattern(Regex),
}

/// Where a member comes from and how its cells are read.
#[derive(Debug, Clone)]
struct Field {
    selector: Selector,
    keys: Keys,
    reading: Reading,
    default: Option<Value>,
    fill_down: bool,
    optional: bool,
}

/// How a column is found.
#[derive(Debug, Clone)]
enum Selector {
    Names(Vec<String>),
    Letter(usize),
    Pattern(Regex),
    Cell(usize, u64),
}

#[derive(Debug, Clone)]
struct Constant {
    member: &'static Member,
    value: Value,
}

/// How rows make visits.
#[derive(Debug, Clone)]
struct RowPlan {
    row_is: RowIs,
    visit_key: Vec<&'static Member>,
    site_key: Vec<&'static Member>,
    blank_key: BlankKey,
    blank_units: BlankUnits,
    visit_id: Option<IdPlan>,
}

/// How the identity of a visit is made of its members.
#[derive(Debug, Clone)]
struct IdPlan {
    from: Vec<&'static Member>,
    prefix: String,
}

impl IdPlan {
    /// The plan as a text, for [`crate::mapping::made_id`].
    fn recipe(&self) -> String {
        let prefix = Some(&*self.prefix).filter(|prefix| !prefix.is_empty());
        recipe(prefix, self.from.iter().map(|member| member.pointer))
    }
}

#[derive(Debug, Clone)]
struct Skip {
    selector: Selector,
    matches: Regex,
}

#[derive(Debug, Clone)]
enum Ignored {
    Name(String),
    Letter(usize),
    Pattern(Regex),
}

impl Field {
    /// Members in addition to its own that the field's unit gives: `USD/acre` says per and currency.
    fn also_gives(&self) -> Vec<&'static str> {
        let Kind::Number(_) = self.reading.member.kind else {
            return Vec::new();
        };
        let Some((parent, _)) = self.reading.member.pointer.rsplit_once('/') else {
            return Vec::new();
        };
        let sibling = |name: &str| {
            let pointer = format!("{parent}/{name}");
            member::MEMBERS
                .iter()
                .map(|member| member.pointer)
                .find(|other| *other == pointer)
        };
        let unit = self.reading.unit.as_ref();
        let per = unit.is_some_and(|unit| unit.per.is_some()) || self.reading.unit_in_cell;
        let currency = unit.is_some_and(|unit| unit.currency.is_some());
        [
            per.then(|| sibling("per")),
            currency.then(|| sibling("currency")),
        ]
        .into_iter()
        .flatten()
        .flatten()
        .collect()
    }

    /// Whether the column's own name, or the target, says which site it is about.
    fn names_site(&self) -> bool {
        let grouped = match &self.selector {
            Selector::Pattern(pattern) => pattern
                .capture_names()
                .flatten()
                .any(|group| group == "site"),
            _ => false,
        };
        grouped || self.keys.site.is_some()
    }
}

impl Mapping {
    /// Reads a mapping file. `place` is its name for messages.
    ///
    /// # Errors
    /// [`Failure`] with the place and how to correct it: no TOML, an unknown member, target or unit, a
    /// regular expression that is none, a member with two sources or a required one with none.
    pub fn read(text: &str, place: &str) -> Result<Mapping, Failure> {
        definition::check::read(text, place)
    }

    /// Who sends the sheets that it describes, if it says so.
    pub fn sender(&self) -> Option<&str> {
        self.sender.as_deref()
    }

    /// The mapping with a time of submission for records that it gives none itself: RFC 3339.
    ///
    /// # Errors
    /// [`Failure`] if `instant` is no such time.
    pub fn with_submitted_at(mut self, instant: &str) -> Result<Mapping, Failure> {
        if instant.parse::<jiff::Timestamp>().is_err() {
            return Err(Failure::new(
                FailureKind::Settings,
                format!("cannot use {instant:?} as the time of submission"),
            )
            .mend("write it as 2026-07-21T18:03:00Z"));
        }
        self.submitted_at = Some(instant.to_owned());
        Ok(self)
    }

    /// Makes records of the rows of a file's sheets, in the order of their first rows.
    ///
    /// Cells that cannot be read become findings of their record. `file_name` is for messages.
    ///
    /// # Errors
    /// [`Failure`] if the file as a whole does not fit: no such sheet or column, a column that holds
    /// data and that the mapping does not mention, nothing that gives `/submitted_at`.
    pub fn records(&self, sheets: &[Sheet], file_name: &str) -> Result<Vec<TableRecord>, Failure> {
        if self.submitted_at.is_none() && !self.gives("/submitted_at") {
            return Err(Failure::new(
                FailureKind::Settings,
                format!("cannot load {file_name}: nothing says when its records were submitted"),
            )
            .at(self.place.clone())
            .mend("map a column to /submitted_at, fix it in [constant], or give the time with the command"));
        }
        let mut records = Vec::new();
        for chosen in sheets::choose_sheets(self, sheets, file_name)? {
            let table = columns::lay_out(self, &chosen, file_name)?;
            records.extend(group::records(self, &table));
        }
        Ok(records)
    }

    fn gives(&self, pointer: &str) -> bool {
        self.fields
            .iter()
            .any(|field| field.reading.member.pointer == pointer)
            || self
                .constants
                .iter()
                .any(|constant| constant.member.pointer == pointer)
    }

    /// Members with one value for all records: constants, and the time of submission.
    fn fixed(&self) -> BTreeMap<&'static str, (&'static Member, Value)> {
        let mut fixed: BTreeMap<&'static str, (&'static Member, Value)> = self
            .constants
            .iter()
            .map(|constant| {
                (
                    constant.member.pointer,
                    (constant.member, constant.value.clone()),
                )
            })
            .collect();
        if let (Some(instant), false) = (&self.submitted_at, self.gives("/submitted_at")) {
            let member = member::exactly("/submitted_at");
            fixed.insert(member.pointer, (member, Value::from(instant.as_str())));
        }
        fixed
    }

    /// The default of a member, if a field of it states one.
    fn default_of(&self, member: &Member) -> Option<&Value> {
        self.fields
            .iter()
            .find(|field| field.reading.member == member && field.keys == Keys::default())
            .and_then(|field| field.default.as_ref())
            .filter(|_| matches!(member.level, Level::Visit | Level::Site))
    }
}
