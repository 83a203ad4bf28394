//! A mapping file → a mapping that makes sense, or the first thing in it that does not.
//!
//! Looked at is the file alone; whether a sheet has its columns is [`super::columns`]'s to say.

use std::collections::BTreeMap;

use regex::Regex;
use serde_json::Value;

use super::cells::Reading;
use super::dates::{DateForm, DateSystem, format_is_whole, offset_of};
use super::file::{
    BlockEntry, FieldEntry, IgnoreEntry, MappingFile, OneOrMany, RowIs, Rows, Schema, SkipEntry,
    UnitFrom, VisitId,
};
use super::member::{self, Keys, Kind, Level, MEMBERS, Member, Quantity};
use super::names::{cell_of, column_of, folded};
use super::numbers::NumberForm;
use super::unit::{self, Unit};
use super::{Constant, Field, Ignored, Mapping, RowPlan, Selector, SheetChoice, Skip, TableForm};
use crate::failure::{Failure, Kind as FailureKind};

const SUBMITTED_AT: &str = "/submitted_at";

/// Words for a mistake and how to mend it.
struct Mistake {
    what: String,
    mend: String,
}

fn mistake<T>(what: impl Into<String>, mend: impl Into<String>) -> Result<T, Mistake> {
    Err(Mistake {
        what: what.into(),
        mend: mend.into(),
    })
}

/// Reads and checks the text of a mapping file.
pub(super) fn read(text: &str, place: &str) -> Result<Mapping, Failure> {
    let file: MappingFile =
        toml::from_str(text).map_err(|error| not_a_mapping(text, place, &error))?;
    mapping(file, place).map_err(|mistake| {
        Failure::new(
            FailureKind::Settings,
            format!("cannot use the mapping: {}", mistake.what),
        )
        .at(place)
        .mend(mistake.mend)
    })
}

fn not_a_mapping(text: &str, place: &str, error: &toml::de::Error) -> Failure {
    let line = error.span().map(|span| {
        text.as_bytes()[..span.start.min(text.len())]
            .iter()
            .filter(|byte| **byte == b'\n')
            .count()
            + 1
    });
    let place = match line {
        Some(line) => format!("{place}, line {line}"),
        None => place.to_owned(),
    };
    let words = error.message().replace('\n', "; ");
    Failure::new(FailureKind::Settings, format!("cannot read the mapping: {words}"))
        .at(place)
        .mend("a mapping is TOML with the members of schemas/mapping.schema.json; sample_data/mappings has three")
}

fn mapping(file: MappingFile, place: &str) -> Result<Mapping, Mistake> {
    if file.mapping != "1" {
        return mistake(
            format!("it is of version {:?}", file.mapping),
            "this program reads mapping = \"1\"",
        );
    }
    if file.target != "visit/1.0" {
        return mistake(
            format!("its target is {:?}", file.target),
            "the one target is \"visit/1.0\"",
        );
    }
    let fields = file
        .field
        .into_iter()
        .enumerate()
        .map(|(place, entry)| {
            let name = format!("[[field]] {} (to = {:?})", place + 1, entry.to);
            field(entry, &file.schema).map_err(|mistake| Mistake {
                what: format!("{name}: {}", mistake.what),
                ..mistake
            })
        })
        .collect::<Result<Vec<Field>, Mistake>>()?;
    let constants = constants(&file.constant)?;
    let visit_id = file.visit_id.map(visit_id).transpose()?;
    let rows = row_plan(&file.rows, visit_id)?;
    let mapping = Mapping {
        place: place.to_owned(),
        form: table_form(&file.dialect)?,
        fields,
        constants,
        rows,
        skips: file.skip.into_iter().map(skip).collect::<Result<_, _>>()?,
        blocks: file
            .block
            .into_iter()
            .map(block)
            .collect::<Result<_, _>>()?,
        ignored: file
            .ignore
            .into_iter()
            .map(ignored)
            .collect::<Result<_, _>>()?,
        submitted_at: None,
        plain: false,
    };
    check_sources(&mapping)?;
    check_counts(&mapping)?;
    check_keys(&mapping)?;
    Ok(mapping)
}

fn table_form(dialect: &super::file::Dialect) -> Result<TableForm, Mistake> {
    let choices = [
        dialect
            .sheet_name
            .as_ref()
            .map(|names| SheetChoice::Names(names.all().to_vec())),
        dialect.sheet_number.map(SheetChoice::Number),
        dialect
            .sheet_pattern
            .as_deref()
            .map(regex)
            .transpose()?
            .map(SheetChoice::Pattern),
    ];
    let mut choices = choices.into_iter().flatten();
    let sheet = choices.next().unwrap_or(SheetChoice::TheOnlyOne);
    if choices.next().is_some() || matches!(sheet, SheetChoice::Number(0)) {
        return mistake(
            "[dialect] does not name one choice of sheets",
            "give one of sheetName, sheetNumber (from 1) and sheetPattern",
        );
    }
    let header_rows = match (dialect.header, &dialect.header_rows) {
        (Some(false), None) => Vec::new(),
        (Some(false), Some(_)) => {
            return mistake(
                "[dialect] has header = false and headerRows",
                "leave one of them out",
            );
        }
        (_, Some(rows)) => rows.clone(),
        (_, None) => vec![1],
    };
    let ascend = header_rows.windows(2).all(|pair| pair[0] < pair[1]);
    if !ascend
        || header_rows.contains(&0)
        || (dialect.header != Some(false) && header_rows.is_empty())
    {
        return mistake(
            format!("[dialect] headerRows = {header_rows:?}"),
            "give row numbers from 1 on, in order",
        );
    }
    Ok(TableForm {
        sheet,
        ignored_sheets: dialect
            .ignore_sheets
            .iter()
            .map(|name| folded(name))
            .collect(),
        header_rows,
        header_join: dialect
            .header_join
            .clone()
            .unwrap_or_else(|| " ".to_owned()),
        header_fill: dialect.header_fill.unwrap_or(true),
        comment_rows: dialect.comment_rows.clone(),
    })
}

fn field(entry: FieldEntry, schema: &Schema) -> Result<Field, Mistake> {
    let Some((member, keys)) = member::find(&entry.to) else {
        let known: Vec<&str> = MEMBERS.iter().map(|member| member.pointer).collect();
        return mistake(
            "there is no such target",
            format!("targets are {}", known.join(", ")),
        );
    };
    if member.level == Level::Index && keys != Keys::default() {
        return mistake(
            "a placeholder stands alone",
            "write {head}, {plant}, {trap} or {bract}",
        );
    }
    let selector = selector(&entry)?;
    check_groups(&selector, member, &keys)?;
    let reading = reading(&entry, member, schema)?;
    let default = entry
        .default
        .as_ref()
        .map(|value| constant_value(member, value))
        .transpose()?;
    Ok(Field {
        selector,
        keys,
        reading,
        default,
        fill_down: entry.fill_down,
        optional: entry.optional,
    })
}

fn selector(entry: &FieldEntry) -> Result<Selector, Mistake> {
    let given = [
        entry.name.is_some(),
        entry.column.is_some(),
        entry.name_pattern.is_some(),
        entry.cell.is_some(),
    ];
    if given.iter().filter(|given| **given).count() != 1 {
        return mistake(
            "it does not say in one way where the value stands",
            "give one of name, column, namePattern and cell",
        );
    }
    if let Some(names) = &entry.name {
        return names_selector(names);
    }
    if let Some(letters) = &entry.column {
        return letter_selector(letters);
    }
    if let Some(pattern) = &entry.name_pattern {
        return regex(pattern).map(Selector::Pattern);
    }
    let cell = entry.cell.as_deref().unwrap_or_default();
    match cell_of(cell) {
        Some((column, row)) => Ok(Selector::Cell(column, row)),
        None => mistake(format!("{cell:?} is no cell"), "name a cell as B2"),
    }
}

fn names_selector(names: &OneOrMany) -> Result<Selector, Mistake> {
    if names.all().is_empty() || names.all().iter().any(|name| folded(name).is_empty()) {
        return mistake(
            "a column has no name",
            "give the header's text, or the column's letter",
        );
    }
    Ok(Selector::Names(names.all().to_vec()))
}

fn letter_selector(letters: &str) -> Result<Selector, Mistake> {
    match column_of(letters) {
        Some(column) => Ok(Selector::Letter(column)),
        None => mistake(
            format!("{letters:?} is no column"),
            "name a column by its letters, as C",
        ),
    }
}

/// The named groups of a pattern are the placeholders of its target, each once.
fn check_groups(selector: &Selector, member: &Member, keys: &Keys) -> Result<(), Mistake> {
    let Selector::Pattern(pattern) = selector else {
        return Ok(());
    };
    let mut open = keys.clone();
    for group in pattern.capture_names().flatten() {
        let fits = member
            .placeholders()
            .any(|placeholder| placeholder == group);
        let slot = open.slot(group).filter(|slot| fits && slot.is_none());
        match slot {
            Some(slot) => *slot = Some(String::new()),
            None => {
                return mistake(
                    format!(
                        "the group {group:?} of namePattern fills no placeholder of the target"
                    ),
                    "name groups after the placeholders: (?<site>…), (?<head>…), (?<bract>…)",
                );
            }
        }
    }
    Ok(())
}

fn reading(
    entry: &FieldEntry,
    member: &'static Member,
    schema: &Schema,
) -> Result<Reading, Mistake> {
    check_type(entry, member)?;
    let quantity = match member.kind {
        Kind::Number(quantity) => Some(quantity),
        _ => None,
    };
    let (unit, unit_in_cell) = unit_of(entry, quantity)?;
    let number = NumberForm {
        decimal: character(
            entry.decimal_char.as_ref().or(schema.decimal_char.as_ref()),
            "decimalChar",
        )?,
        group: character(
            entry.group_char.as_ref().or(schema.group_char.as_ref()),
            "groupChar",
        )?,
        fractions: entry.fractions,
    };
    if number.decimal.is_some() && number.decimal == number.group {
        return mistake(
            "decimalChar and groupChar are the same",
            "give two different characters",
        );
    }
    let missing = entry
        .missing_values
        .as_ref()
        .unwrap_or(&schema.missing_values);
    let texts = |given: &Option<Vec<String>>, usual: &[&str]| -> Vec<String> {
        match given {
            Some(texts) => texts.iter().map(|text| folded(text)).collect(),
            None => usual.iter().map(|text| (*text).to_owned()).collect(),
        }
    };
    Ok(Reading {
        member,
        missing: missing.iter().map(|text| folded(text)).collect(),
        values: values(entry, member)?,
        number,
        bare_number: entry.bare_number.unwrap_or(true),
        unit,
        unit_in_cell,
        date: date_form(entry, member, schema)?,
        true_values: texts(&entry.true_values, &["true", "1"]),
        false_values: texts(&entry.false_values, &["false", "0"]),
        zero_pad: entry
            .zero_pad
            .unwrap_or(0)
            .min(crate::visit::record::TEXT_LENGTH_MAX),
        part: part(entry)?,
        verbatim: false,
    })
}

/// The types of Table Schema that a member may have: exactly one each.
fn check_type(entry: &FieldEntry, member: &Member) -> Result<(), Mistake> {
    let own = match member.kind {
        Kind::Text | Kind::Remarks => "string",
        Kind::Day => "date",
        Kind::Instant => "datetime",
        Kind::Truth => "boolean",
        Kind::Outline => "geojson",
        Kind::Whole => "integer",
        Kind::Number(_) => "number",
    };
    match &entry.kind {
        Some(kind) if kind != own => mistake(
            format!("its type is {kind:?}"),
            format!("the target takes type = {own:?}, which may be left out"),
        ),
        _ => Ok(()),
    }
}

fn unit_of(
    entry: &FieldEntry,
    quantity: Option<Quantity>,
) -> Result<(Option<Unit>, bool), Mistake> {
    let in_cell = entry.unit_from == Some(UnitFrom::Cell);
    match (quantity, &entry.unit) {
        (None, None) if !in_cell => Ok((None, false)),
        (None, _) => mistake("the target has no unit", "leave out unit and unitFrom"),
        (Some(Quantity::Area), None) if !in_cell => mistake(
            "it says no unit",
            format!(
                "give unit, one of {}; or unitFrom = \"cell\"",
                unit::codes(Quantity::Area)
            ),
        ),
        (Some(_), None) => Ok((None, in_cell)),
        (Some(quantity), Some(code)) => match unit::by_code(quantity, code) {
            Some(unit) => Ok((Some(unit), in_cell)),
            None => mistake(
                format!("the unit {code:?} is not known here"),
                format!("units are {}", unit::codes(quantity)),
            ),
        },
    }
}

fn character(text: Option<&String>, name: &str) -> Result<Option<char>, Mistake> {
    let Some(text) = text else {
        return Ok(None);
    };
    let mut letters = text.chars();
    match (letters.next(), letters.next()) {
        (Some(letter), None) if matches!(letter, '.' | ',' | ' ' | '\'') => Ok(Some(letter)),
        _ => mistake(
            format!("{name} is {text:?}"),
            "it is one of \".\", \",\", \" \" and \"'\"",
        ),
    }
}

fn values(entry: &FieldEntry, member: &Member) -> Result<BTreeMap<String, Value>, Mistake> {
    let mut values = BTreeMap::new();
    for (text, value) in &entry.values {
        let value = match (member.kind, value) {
            (Kind::Text, toml::Value::String(text)) => Value::from(text.as_str()),
            (Kind::Number(_) | Kind::Whole, toml::Value::Integer(number)) => Value::from(*number),
            (Kind::Number(_) | Kind::Whole, toml::Value::Float(number)) => Value::from(*number),
            (Kind::Truth, toml::Value::Boolean(truth)) => Value::from(*truth),
            (Kind::Day | Kind::Instant, toml::Value::String(text)) => Value::from(text.as_str()),
            _ => {
                return mistake(
                    format!("the value {value} for {text:?} is none of the target"),
                    format!("the target takes {}", member.expected),
                );
            }
        };
        if values.insert(folded(text), value).is_some() {
            return mistake(
                format!("{text:?} stands twice in values"),
                "upper and lower case are the same there",
            );
        }
    }
    Ok(values)
}

fn date_form(entry: &FieldEntry, member: &Member, schema: &Schema) -> Result<DateForm, Mistake> {
    let formats = entry
        .format
        .as_ref()
        .map_or(&[][..], OneOrMany::all)
        .to_vec();
    if !matches!(member.kind, Kind::Day | Kind::Instant) {
        let given = entry.format.is_some()
            || entry.date_system.is_some()
            || entry.utc_offset.is_some()
            || entry.time_of_day.is_some();
        return if given {
            mistake(
                "the target is no date",
                "leave out format, dateSystem, utcOffset and timeOfDay",
            )
        } else {
            Ok(DateForm::default())
        };
    }
    if let Some(wrong) = formats.iter().find(|format| !format_is_whole(format)) {
        return mistake(
            format!("the format {wrong:?} gives no whole day"),
            "use strptime's directives, as %m/%d/%Y, or \"default\" for ISO 8601",
        );
    }
    let offset = match &entry.utc_offset {
        Some(text) => match offset_of(text) {
            Some(offset) => Some(offset),
            None => {
                return mistake(
                    format!("utcOffset is {text:?}"),
                    "write Z or an offset as -05:00",
                );
            }
        },
        None => None,
    };
    let time_of_day = match &entry.time_of_day {
        Some(text) => match text.parse() {
            Ok(time) => Some(time),
            Err(_) => return mistake(format!("timeOfDay is {text:?}"), "write a time as 18:00:00"),
        },
        None => None,
    };
    let system = match entry.date_system.or(schema.date_system) {
        None => None,
        Some(1900) => Some(DateSystem::From1900),
        Some(1904) => Some(DateSystem::From1904),
        Some(other) => return mistake(format!("dateSystem is {other}"), "it is 1900 or 1904"),
    };
    Ok(DateForm {
        formats,
        system,
        offset,
        time_of_day,
    })
}

fn part(entry: &FieldEntry) -> Result<Option<Regex>, Mistake> {
    let Some(text) = &entry.part else {
        return Ok(None);
    };
    let pattern = regex(text)?;
    if !pattern.capture_names().flatten().eq(["value"]) {
        return mistake(
            "part names no group \"value\"",
            "mark the part that counts: (?<value>…)",
        );
    }
    Ok(Some(pattern))
}

fn regex(text: &str) -> Result<Regex, Mistake> {
    Regex::new(text).or_else(|error| {
        let words = error.to_string();
        let last = words.lines().last().unwrap_or_default();
        mistake(
            format!("{text:?} is no regular expression: {last}"),
            "write it in the syntax of Rust's regex crate; in TOML between single quotes",
        )
    })
}

fn skip(entry: SkipEntry) -> Result<Skip, Mistake> {
    let selector = match (&entry.name, &entry.column) {
        (Some(names), None) => names_selector(names)?,
        (None, Some(letters)) => letter_selector(letters)?,
        _ => {
            return mistake(
                "a [[skip]] does not name one column",
                "give one of name and column, and matches",
            );
        }
    };
    Ok(Skip {
        selector,
        matches: regex(&entry.matches)?,
    })
}

fn block(entry: BlockEntry) -> Result<Regex, Mistake> {
    let pattern = regex(&entry.matches)?;
    if pattern.capture_names().flatten().next().is_none() {
        return mistake(
            "a [[block]] names no group",
            "give groups, as (?<Site>[0-9]+); rows that say nothing are left out by [[skip]]",
        );
    }
    Ok(pattern)
}

fn ignored(entry: IgnoreEntry) -> Result<Ignored, Mistake> {
    match entry {
        IgnoreEntry::Name(name) => Ok(Ignored::Name(folded(&name))),
        IgnoreEntry::Column(column) => match (&column.column, &column.name_pattern) {
            (Some(letters), None) => match column_of(letters) {
                Some(place) => Ok(Ignored::Letter(place)),
                None => mistake(
                    format!("ignore: {letters:?} is no column"),
                    "name it by its letters, as C",
                ),
            },
            (None, Some(pattern)) => regex(pattern).map(Ignored::Pattern),
            _ => mistake(
                "ignore names a column in no way",
                "give a name, column or namePattern",
            ),
        },
    }
}

fn constants(table: &BTreeMap<String, toml::Value>) -> Result<Vec<Constant>, Mistake> {
    table
        .iter()
        .map(|(pointer, value)| {
            let found = member::find(pointer).filter(|(member, keys)| {
                *keys == Keys::default() && !matches!(member.level, Level::Count | Level::Index)
            });
            let Some((member, _)) = found else {
                return mistake(
                    format!("[constant] {pointer:?} is no member that can be fixed"),
                    "fix members of the visit, of all its sites, or the nights of all traps",
                );
            };
            Ok(Constant {
                member,
                value: constant_value(member, value)?,
            })
        })
        .collect()
}

/// A value that the mapping itself gives: in the record's own units and forms.
fn constant_value(member: &Member, value: &toml::Value) -> Result<Value, Mistake> {
    if value.as_str() == Some("?") {
        return mistake(
            format!("{} is still a question", member.pointer),
            "answer each \"?\" of a suggested draft, or leave the line out",
        );
    }
    let value = match (member.kind, value) {
        (Kind::Text | Kind::Remarks | Kind::Day | Kind::Instant, toml::Value::String(text)) => {
            Value::from(text.as_str())
        }
        (Kind::Day | Kind::Instant, toml::Value::Datetime(moment)) => {
            Value::from(moment.to_string())
        }
        (Kind::Truth, toml::Value::Boolean(truth)) => Value::from(*truth),
        (Kind::Whole, toml::Value::Integer(number)) => Value::from(*number),
        (Kind::Number(_), toml::Value::Integer(number)) => Value::from(*number as f64),
        (Kind::Number(_), toml::Value::Float(number)) if number.is_finite() => Value::from(*number),
        _ => {
            return mistake(
                format!("the value {value} for {} is none of it", member.pointer),
                format!("it takes {}", member.expected),
            );
        }
    };
    Ok(value)
}

fn members(pointers: &[String], what: &str, level: Level) -> Result<Vec<&'static Member>, Mistake> {
    pointers
        .iter()
        .map(|pointer| {
            let found = member::find(pointer)
                .filter(|(member, keys)| member.level == level && *keys == Keys::default());
            match found {
                Some((member, _)) => Ok(member),
                None => mistake(
                    format!("{what} names {pointer:?}"),
                    "name members by their pointers, as /field/field_id or /sites/{site}/site",
                ),
            }
        })
        .collect()
}

fn visit_id(entry: VisitId) -> Result<super::IdPlan, Mistake> {
    if entry.from.is_empty() {
        return mistake(
            "[visitId] from is empty",
            "name the members that make a visit what it is",
        );
    }
    Ok(super::IdPlan {
        from: members(&entry.from, "[visitId] from", Level::Visit)?,
        prefix: entry.prefix.unwrap_or_default(),
    })
}

fn row_plan(rows: &Rows, visit_id: Option<super::IdPlan>) -> Result<RowPlan, Mistake> {
    let visit_key = members(&rows.visit_key, "[rows] visitKey", Level::Visit)?;
    if visit_key.is_empty() != (rows.row_is == RowIs::Visit) {
        return mistake(
            "[rows] visitKey does not fit rowIs",
            "give visitKey unless a row is a visit: it says which rows are one visit",
        );
    }
    Ok(RowPlan {
        row_is: rows.row_is,
        visit_key,
        site_key: members(&rows.site_key, "[rows] siteKey", Level::Site)?,
        blank_key: rows.blank_key,
        blank_units: rows.blank_units,
        visit_id,
    })
}

/// Every member has one source at the most, and every required one has one.
fn check_sources(mapping: &Mapping) -> Result<(), Mistake> {
    let mut sources: BTreeMap<(&str, &Keys), usize> = BTreeMap::new();
    let none = Keys::default();
    for field in &mapping.fields {
        let pattern = matches!(field.selector, Selector::Pattern(_));
        if !(pattern && field.reading.member.level != Level::Visit) {
            *sources
                .entry((field.reading.member.pointer, &field.keys))
                .or_default() += 1;
        }
        for pointer in field.also_gives() {
            *sources.entry((pointer, &none)).or_default() += 1;
        }
    }
    for constant in &mapping.constants {
        *sources.entry((constant.member.pointer, &none)).or_default() += 1;
    }
    if mapping.rows.visit_id.is_some() {
        *sources.entry(("/visit_id", &none)).or_default() += 1;
    }
    if let Some(((pointer, _), _)) = sources.iter().find(|(_, count)| **count > 1) {
        return mistake(
            format!("{pointer} has more than one source"),
            "keep one [[field]], constant or unit that gives it; a unit such as USD/acre gives per and currency",
        );
    }
    let missing: Vec<&str> = MEMBERS
        .iter()
        .filter(|member| member.required && member.pointer != SUBMITTED_AT)
        .map(|member| member.pointer)
        .filter(|pointer| !sources.contains_key(&(*pointer, &none)))
        .collect();
    if missing.is_empty() {
        Ok(())
    } else {
        mistake(
            format!("nothing gives {}", missing.join(", ")),
            "give each a [[field]] or a line in [constant]; a visit id can be made by [visitId]",
        )
    }
}

/// The counts have a source, and a row's place among units and bracts is known.
fn check_counts(mapping: &Mapping) -> Result<(), Mistake> {
    let counts: Vec<&Field> = mapping
        .fields
        .iter()
        .filter(|field| field.reading.member.level == Level::Count)
        .collect();
    if counts.is_empty() {
        return mistake(
            "nothing gives the counts",
            "map a column to /sites/{site}/heads/{head}/{bract}, or to plants or traps",
        );
    }
    let has_index = |names: &[&str]| {
        mapping
            .fields
            .iter()
            .any(|field| names.contains(&field.reading.member.pointer))
    };
    let by_bract = mapping.rows.row_is == RowIs::Bract;
    if by_bract && !(has_index(&["{head}", "{unit}"]) && has_index(&["{bract}"])) {
        return mistake(
            "a row is a bract, but nothing says which",
            "map the columns with their numbers to {head} and {bract}",
        );
    }
    Ok(())
}

/// What says which rows belong together must come from somewhere.
fn check_keys(mapping: &Mapping) -> Result<(), Mistake> {
    let given = |member: &Member| {
        mapping
            .fields
            .iter()
            .any(|field| field.reading.member == member)
            || mapping
                .constants
                .iter()
                .any(|constant| constant.member == member)
    };
    let keys = mapping.rows.visit_key.iter().chain(&mapping.rows.site_key);
    let id = mapping.rows.visit_id.iter().flat_map(|id| &id.from);
    if let Some(member) = keys.chain(id).find(|member| !given(member)) {
        return mistake(
            format!("{} is a key, but nothing gives it", member.pointer),
            "give it a [[field]] or a line in [constant]",
        );
    }
    let below_site = !matches!(mapping.rows.row_is, RowIs::Visit | RowIs::Site);
    let site_known = !mapping.rows.site_key.is_empty()
        || given(member::exactly("/sites/{site}/site"))
        || mapping.fields.iter().any(|field| field.names_site());
    if below_site && !site_known {
        return mistake(
            "nothing says to which site a row belongs",
            "map the site's column to /sites/{site}/site, or fix it in [constant] if there is one site",
        );
    }
    Ok(())
}
