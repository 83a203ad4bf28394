//! Errors of the JSON Schema → findings that name the place, what was found, and what the schema describes there.

use jsonschema::ValidationError;
use jsonschema::error::ValidationErrorKind;
use serde_json::Value;

use crate::sheet::strict::pointer_step;
use scouting::visit::code::Code;
use scouting::visit::finding::Finding;

/// Findings of one record that are listed: one of 1 MiB can have 300,000.
pub(super) const FINDINGS_MAX: usize = 100;
/// The longest pointer that a finding names whole, bytes.
const POINTER_LENGTH_MAX: usize = 1_000;
/// What a message quotes of a value, in characters.
const QUOTE_LENGTH_MAX: usize = 60;

/// What one error of the schema says of the record.
pub(super) fn findings_of(schema: &Value, error: &ValidationError<'_>) -> Vec<Finding> {
    let pointer = error.instance_path().as_str();
    let path = error.evaluation_path().as_str();
    match error.kind() {
        ValidationErrorKind::Required { property } => {
            let name = property.as_str().unwrap_or_default();
            let member = pointer_step(name);
            let expected = description(schema, &format!("{}/properties{member}", object_of(path)));
            vec![Finding::new(
                Code::MemberMissing,
                format!("{pointer}{member}"),
                "nothing",
                expected,
            )]
        }
        ValidationErrorKind::AdditionalProperties { unexpected } => unexpected
            .iter()
            .map(|name| {
                let expected = format!("no such member: {}", members(schema, parent(path)));
                let at = format!("{pointer}{}", pointer_step(name));
                Finding::new(
                    Code::MemberUnknown,
                    at,
                    quoted(&Value::from(name.as_str())),
                    expected,
                )
            })
            .collect(),
        kind => {
            let mut expected = description(schema, path);
            if code(kind) == Code::OutOfRange && pointer.ends_with("/lat") {
                expected += " Are lon and lat swapped?";
            }
            vec![Finding::new(
                code(kind),
                pointer,
                quoted(error.instance()),
                expected,
            )]
        }
    }
}

/// The description nearest to a place in the schema, as the path of an evaluation names it.
fn description(schema: &Value, path: &str) -> String {
    let mut node = schema;
    let mut nearest = None;
    for step in path.split('/').skip(1) {
        nearest = node.get("description").and_then(Value::as_str).or(nearest);
        node = match step_to(schema, node, step) {
            Some(next) => next,
            None => break,
        };
    }
    nearest = node.get("description").and_then(Value::as_str).or(nearest);
    format!(
        "expected: {}",
        nearest.unwrap_or("see schemas/visit.schema.json")
    )
}

/// The members that an object of the schema knows.
fn members(schema: &Value, path: &str) -> String {
    let mut node = schema;
    for step in path.split('/').skip(1) {
        node = step_to(schema, node, step).unwrap_or(node);
    }
    let members = node.get("properties").and_then(Value::as_object);
    let names: Vec<&str> = members
        .into_iter()
        .flat_map(|members| members.keys().map(String::as_str))
        .collect();
    format!("the members here are {}", names.join(", "))
}

fn step_to<'a>(schema: &'a Value, node: &'a Value, step: &str) -> Option<&'a Value> {
    let step = step.replace("~1", "/").replace("~0", "~");
    let next = match node {
        Value::Array(elements) => elements.get(step.parse::<usize>().ok()?)?,
        _ => node.get(&step)?,
    };
    if step != "$ref" {
        return Some(next);
    }
    schema.pointer(next.as_str()?.strip_prefix('#')?)
}

fn code(kind: &ValidationErrorKind) -> Code {
    match kind {
        ValidationErrorKind::Type { .. } => Code::WrongType,
        ValidationErrorKind::Minimum { .. }
        | ValidationErrorKind::Maximum { .. }
        | ValidationErrorKind::ExclusiveMinimum { .. }
        | ValidationErrorKind::ExclusiveMaximum { .. } => Code::OutOfRange,
        ValidationErrorKind::MinItems { .. }
        | ValidationErrorKind::MaxItems { .. }
        | ValidationErrorKind::MinLength { .. }
        | ValidationErrorKind::MaxLength { .. } => Code::WrongLength,
        ValidationErrorKind::OneOfNotValid { .. }
        | ValidationErrorKind::OneOfMultipleValid { .. } => Code::CountsNotOneForm,
        _ => Code::WrongForm,
    }
}

/// The place of the object that lacks a member, which a condition of it may ask for.
fn object_of(path: &str) -> &str {
    let conditions = ["/then/", "/dependentRequired"];
    let condition = conditions.iter().find_map(|keyword| path.find(keyword));
    condition.map_or_else(|| parent(path), |end| &path[..end])
}

/// The place of the keyword's owner: the path without its last step.
fn parent(path: &str) -> &str {
    path.rsplit_once('/').map_or("", |(parent, _)| parent)
}

/// A member that is in its object twice.
pub(super) fn repeated(pointer: &str) -> Finding {
    Finding::new(
        Code::DuplicateMember,
        pointer,
        "the member a second time",
        "each member may appear once in its object; which of the two is meant?",
    )
}

/// Several keywords of the schema may fail for one reason: a date in another form misses its format
/// and its pattern, a `null` is of the wrong type and has no form at all. The reader hears it once.
pub(super) fn once_a_place(findings: Vec<Finding>) -> Vec<Finding> {
    let mut kept: Vec<Finding> = Vec::with_capacity(findings.len());
    for finding in findings {
        let here = |other: &&mut Finding| other.pointer == finding.pointer;
        let of_type = |code: Code| code == Code::WrongType;
        match kept
            .iter_mut()
            .filter(|other| !other.pointer.is_empty())
            .find(here)
        {
            Some(before) if before.code == finding.code || of_type(before.code) => {}
            Some(before) if of_type(finding.code) => *before = finding,
            _ => kept.push(finding),
        }
    }
    kept
}

/// What is said in place of the findings past the last that is listed.
pub(super) fn more_findings() -> Finding {
    Finding::new(
        Code::MoreFindings,
        "",
        format!("more than {FINDINGS_MAX} findings"),
        format!("the first {FINDINGS_MAX} are listed: correct these, and look again"),
    )
}

/// A finding whose pointer is no longer than a reader can use.
pub(super) fn in_short(mut finding: Finding) -> Finding {
    if finding.pointer.len() > POINTER_LENGTH_MAX {
        let end = finding.pointer.floor_char_boundary(POINTER_LENGTH_MAX);
        finding.pointer.truncate(end);
        finding.pointer.push('…');
    }
    finding
}

/// A value as a message shows it.
fn quoted(value: &Value) -> String {
    let text = value.to_string();
    let mut shown: String = text.chars().take(QUOTE_LENGTH_MAX).collect();
    if shown.len() < text.len() {
        shown.push('…');
    }
    shown
}
