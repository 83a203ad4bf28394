//! One `[[field]]` of a mapping file → where its cells are and how they are read.
//!
//! What fields are together, one source for each member, is [`crate::mapping::definition::check_sources`]'s to say.

use std::collections::BTreeMap;

use regex::Regex;
use serde_json::Value;

use crate::mapping::definition::check_angle::{angle_form, utm_zone};
use crate::mapping::definition::check_date::date_form;
use crate::mapping::definition::check_selector::{check_groups, selector};
use crate::mapping::definition::file::{FieldEntry, Schema, UnitFrom};
use crate::mapping::definition::mistake::{Mistake, mistake, regex};
use crate::mapping::member::{self, Keys, Kind, Level, MEMBERS, Member, Quantity};
use crate::mapping::names::folded;
use crate::mapping::plan::{Field, Selector};
use crate::mapping::values::cells::Reading;
use crate::mapping::values::numbers::NumberForm;
use crate::mapping::values::unit::{self, Unit};

/// Checks one field.
pub(in crate::mapping) fn field(entry: FieldEntry, schema: &Schema) -> Result<Field, Mistake> {
    let Some((member, keys)) = member::find(&entry.to) else {
        let known: Vec<&str> = MEMBERS.iter().map(|member| member.pointer).collect();
        return mistake(
            "there is no such target",
            format!("targets are {}", known.join(", ")),
        );
    };
    if member.level == Level::Index && keys != Keys::default() {
        return mistake(
            "a placeholder must be alone",
            "write {head}, {plant}, {trap} or {bract}",
        );
    }
    let selector = selector(&entry)?;
    check_groups(&selector, member, &keys)?;
    let takes_parts = match member.kind {
        Kind::Day | Kind::Instant => true,
        Kind::Number(quantity) => quantity.is_angle(),
        _ => false,
    };
    if matches!(selector, Selector::Together(_)) && !takes_parts {
        return mistake(
            "together is for days, times and degrees",
            "name one column; an id can be made of several members by [visitId]",
        );
    }
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
        ignored_text: ignored_text(entry, member)?,
        unit,
        unit_in_cell,
        angle: angle_form(entry, quantity)?,
        utm: utm_zone(entry, quantity)?,
        date: date_form(entry, member, schema)?,
        true_values: texts(&entry.true_values, &["true", "1"]),
        false_values: texts(&entry.false_values, &["false", "0"]),
        zero_pad: entry
            .zero_pad
            .unwrap_or(0)
            .min(scouting::visit::record::TEXT_LENGTH_MAX),
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

/// The texts that may be next to a number and mean nothing. One that means something is no such text.
fn ignored_text(entry: &FieldEntry, member: &Member) -> Result<Vec<String>, Mistake> {
    if entry.ignore_text.is_empty() {
        return Ok(Vec::new());
    }
    if entry.bare_number != Some(false) || !matches!(member.kind, Kind::Whole | Kind::Number(_)) {
        return mistake(
            "ignoreText is about text next to a number",
            "use it with bareNumber = false, for a target that is a number",
        );
    }
    let wrong = entry.ignore_text.iter().find(|text| {
        let letters = |letter: char| letter.is_alphabetic() || " .:()".contains(letter);
        !text.chars().any(char::is_alphabetic) || !text.chars().all(letters)
    });
    match wrong {
        Some(wrong) => mistake(
            format!("ignoreText lists {wrong:?}"),
            "list words, as \"est\"; figures and signs next to a number change what it means",
        ),
        None => Ok(entry.ignore_text.iter().map(|text| folded(text)).collect()),
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
                format!("{text:?} appears twice in values"),
                "upper and lower case are equal there",
            );
        }
    }
    Ok(values)
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

/// A value that the mapping itself gives: in the record's own units and forms.
pub(in crate::mapping) fn constant_value(
    member: &Member,
    value: &toml::Value,
) -> Result<Value, Mistake> {
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
