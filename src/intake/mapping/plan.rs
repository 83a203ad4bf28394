//! What a mapping says once it is read and checked: which sheets and rows, where each member comes from, how rows make visits.

use std::collections::BTreeMap;
use std::path::Path;

use jiff::Timestamp;
use jiff::civil::Date;
use regex::Regex;
use serde_json::Value;

use super::definition::file::{BlankKey, BlankUnits, RowIs};
use super::id_prefixes::IdPrefixes;
use super::made_id::{putting, recipe};
use super::member::{Keys, Kind, Level, MEMBERS, Member, exactly};
use super::utm_points::UtmZone;
use super::values::cells::Reading;
use crate::sheet::table::JsonRows;
use scouting::failure::{Failure, Kind as FailureKind};

/// Letters of a day as it is written, `2026-07-21`.
const DAY_LETTERS: usize = 10;

/// A mapping that was read and checked.
#[derive(Debug, Clone)]
pub struct Mapping {
    pub(in crate::mapping) place: String,
    pub(in crate::mapping) form: TableForm,
    pub(in crate::mapping) fields: Vec<Field>,
    pub(in crate::mapping) constants: Vec<Constant>,
    pub(in crate::mapping) rows: RowPlan,
    pub(in crate::mapping) skips: Vec<Skip>,
    pub(in crate::mapping) blocks: Vec<Regex>,
    pub(in crate::mapping) joins: Vec<Join>,
    pub(in crate::mapping) ignored: Vec<Ignored>,
    pub(in crate::mapping) submitted_at: Option<String>,
    pub(in crate::mapping) sender: Option<String>,
    /// Whether this is our own layout, in which text is taken to the letter.
    pub(in crate::mapping) plain: bool,
}

/// Which sheets and rows hold the table.
#[derive(Debug, Clone)]
pub(in crate::mapping) struct TableForm {
    pub sheet: SheetChoice,
    pub ignored_sheets: Vec<String>,
    pub header_rows: Vec<u64>,
    pub header_join: String,
    pub header_fill: bool,
    pub comment_rows: Vec<u64>,
    /// Whether visits are columns and members are rows.
    pub transpose: bool,
    /// Where the records of a JSON document are, a JSON Pointer; none: where they are found.
    pub records: Option<String>,
    /// The list of a JSON record whose items are rows, a JSON Pointer.
    pub rows_of: Option<String>,
}

#[derive(Debug, Clone)]
pub(in crate::mapping) enum SheetChoice {
    TheOnlyOne,
    Names(Vec<String>),
    Number(usize),
    Pattern(Regex),
}

/// Where a member comes from and how its cells are read.
#[derive(Debug, Clone)]
pub(in crate::mapping) struct Field {
    pub selector: Selector,
    pub keys: Keys,
    pub reading: Reading,
    pub default: Option<Value>,
    pub fill_down: bool,
    pub optional: bool,
}

/// How a column is found.
#[derive(Debug, Clone)]
pub(in crate::mapping) enum Selector {
    Names(Vec<String>),
    Letter(usize),
    Pattern(Regex),
    Cell(usize, u64),
    /// Columns whose texts make one.
    Together(Vec<String>),
}

impl Selector {
    /// The groups of a pattern that other fields take as columns: a day in the header over counts.
    pub(super) fn columns_in_headers(&self) -> impl Iterator<Item = &str> {
        let pattern = match self {
            Selector::Pattern(pattern) => Some(pattern),
            _ => None,
        };
        let groups = pattern
            .into_iter()
            .flat_map(|pattern| pattern.capture_names().flatten());
        groups.filter(|group| Keys::default().slot(group).is_none())
    }
}

/// A sheet with further columns, whose rows are found by a key.
#[derive(Debug, Clone)]
pub(in crate::mapping) struct Join {
    /// Its name.
    pub sheet: String,
    /// The header of the key, in either sheet.
    pub key: Vec<String>,
    /// The number of its header row.
    pub header_row: u64,
}

#[derive(Debug, Clone)]
pub(in crate::mapping) struct Constant {
    pub member: &'static Member,
    pub value: Value,
}

/// How rows make visits.
#[derive(Debug, Clone)]
pub(in crate::mapping) struct RowPlan {
    pub row_is: RowIs,
    pub visit_key: Vec<&'static Member>,
    pub site_key: Vec<&'static Member>,
    pub blank_key: BlankKey,
    pub blank_units: BlankUnits,
    pub visit_id: Option<IdPlan>,
}

/// How the identity of a visit is made of its members.
#[derive(Debug, Clone)]
pub(in crate::mapping) struct IdPlan {
    pub from: Vec<&'static Member>,
    pub prefix: String,
    /// What is put before the ids of fields and scouts.
    pub id_prefixes: IdPrefixes,
}

impl IdPlan {
    /// The plan as a text, for [`crate::mapping::made_id`].
    pub(super) fn recipe(&self) -> String {
        let prefix = Some(&*self.prefix).filter(|prefix| !prefix.is_empty());
        let joined = recipe(prefix, self.from.iter().map(|member| member.pointer));
        putting(&self.id_prefixes, &joined)
    }
}

#[derive(Debug, Clone)]
pub(in crate::mapping) struct Skip {
    pub selector: Selector,
    pub matches: Regex,
}

#[derive(Debug, Clone)]
pub(in crate::mapping) enum Ignored {
    Name(String),
    Letter(usize),
    Pattern(Regex),
}

impl Field {
    /// Members in addition to its own that the field's unit gives: `USD/acre` says per and currency.
    pub(super) fn also_gives(&self) -> Vec<&'static str> {
        let Kind::Number(_) = self.reading.member.kind else {
            return Vec::new();
        };
        let Some((parent, _)) = self.reading.member.pointer.rsplit_once('/') else {
            return Vec::new();
        };
        let sibling = |name: &str| {
            let pointer = format!("{parent}/{name}");
            MEMBERS
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
    pub(super) fn names_site(&self) -> bool {
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
    /// Who sends the sheets that it describes, if it says so.
    pub fn sender(&self) -> Option<&str> {
        self.sender.as_deref()
    }

    /// What it puts before the ids of fields and scouts.
    pub fn id_prefixes(&self) -> IdPrefixes {
        let visit_id = self.rows.visit_id.as_ref();
        visit_id.map_or_else(IdPrefixes::default, |plan| plan.id_prefixes.clone())
    }

    /// The mapping with a time of submission for records that it gives none itself: RFC 3339, or a day, which is taken as
    /// its end in UTC.
    ///
    /// # Errors
    /// [`Failure`] if `instant` is no such time.
    pub fn with_submitted_at(mut self, instant: &str) -> Result<Mapping, Failure> {
        self.submitted_at = Some(submission_instant(instant)?);
        Ok(self)
    }

    /// What says when records were submitted, if it is one time for all of them, as a sentence.
    pub(in crate::mapping) fn submission_fixed_by(&self) -> Option<String> {
        let is_fixed = |constant: &Constant| constant.member.pointer == "/submitted_at";
        if self.constants.iter().any(is_fixed) {
            // The folders before it are nobody's business who gets the record back.
            let file = Path::new(&self.place).file_name().unwrap_or_default();
            return Some(format!(
                "/submitted_at in [constant] of {} says when all records were submitted; without it there, --submitted-at gives the time of each load",
                file.to_string_lossy()
            ));
        }
        let is_given = self.submitted_at.is_some() && !self.gives("/submitted_at");
        is_given.then(|| "--submitted-at says when all records were submitted".to_owned())
    }

    /// Where the rows of a JSON document are.
    pub(crate) fn json_rows(&self) -> JsonRows<'_> {
        JsonRows {
            records: self.form.records.as_deref(),
            rows_of: self.form.rows_of.as_deref(),
        }
    }

    /// The zone of which a longitude and its latitude are given.
    pub(in crate::mapping) fn utm_of(&self, lon: &str) -> Option<UtmZone> {
        let mut fields = self.fields.iter();
        fields.find_map(|field| {
            let reading = &field.reading;
            reading.utm.filter(|_| reading.member.pointer == lon)
        })
    }

    pub(in crate::mapping) fn gives(&self, pointer: &str) -> bool {
        self.fields
            .iter()
            .any(|field| field.reading.member.pointer == pointer)
            || self
                .constants
                .iter()
                .any(|constant| constant.member.pointer == pointer)
    }

    /// Members with one value for all records: constants, and the time of submission.
    pub(in crate::mapping) fn fixed(&self) -> BTreeMap<&'static str, (&'static Member, Value)> {
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
            let member = exactly("/submitted_at");
            fixed.insert(member.pointer, (member, Value::from(instant.as_str())));
        }
        fixed
    }

    /// The default of a member, if a field of it states one.
    pub(in crate::mapping) fn default_of(&self, member: &Member) -> Option<&Value> {
        self.fields
            .iter()
            .find(|field| field.reading.member == member && field.keys == Keys::default())
            .and_then(|field| field.default.as_ref())
            .filter(|_| matches!(member.level, Level::Visit | Level::Site))
    }
}

/// A time of submission as a person gives it: RFC 3339, or a day, which is taken as its end in UTC.
///
/// # Errors
/// [`Failure`] if it is neither.
pub fn submission_instant(given: &str) -> Result<String, Failure> {
    let instant = match given.parse::<Date>() {
        Ok(day) if given.len() == DAY_LETTERS => format!("{day}T23:59:59Z"),
        _ => given.to_owned(),
    };
    match instant.parse::<Timestamp>() {
        Ok(_) => Ok(instant),
        Err(_) => Err(Failure::new(
            FailureKind::Settings,
            format!("cannot use {given:?} as the time of submission, --submitted-at"),
        )
        .mend("write the day, as 2026-07-21, or the time with its zone, as 2026-07-21T18:03:00Z")),
    }
}
