//! One record's bytes → a visit that the schema accepts, or what is wrong with it.
//!
//! The typed reading is fast and silent; a record that fails it is read again with the schema, so
//! that its report names each place. What the trade asks beyond the schema is in `visit::rules`.

use jsonschema::error::ValidationErrorKind;
use jsonschema::{ValidationError, Validator};
use serde_json::Value;

use crate::sheet::strict::{StrictValue, pointer_step, strict_value};
use scouting::visit::code::Code;
use scouting::visit::finding::Finding;
use scouting::visit::record::{COUNT_MAX, TEXT_LENGTH_MAX, Visit};
use scouting::visit::words::WHOLE_JSON_EXPECTED;

/// The public contract, as it is published.
pub const VISIT_SCHEMA: &str = include_str!("../../../schemas/visit.schema.json");

/// The longest record that is read. A visit is about 1 KiB, one of 10,000 heads about 130 KiB; to say all that is
/// wrong with a longer one takes a thousand times its size in memory.
const RECORD_BYTES_MAX: usize = 1 << 20;
/// What a message quotes of a value, in characters.
const QUOTE_LENGTH_MAX: usize = 60;
/// The longest number that is written, bytes: `-1.2345678901234567e-300`.
const NUMBER_LENGTH_MAX: usize = 25;
/// The deepest nesting that is read.
const DEPTH_MAX: usize = 127;
/// Findings of one record that are listed: one of 1 MiB can have 300,000.
const FINDINGS_MAX: usize = 100;
/// The longest pointer that a finding names whole, bytes.
const POINTER_LENGTH_MAX: usize = 1_000;

/// Reads records by the schema.
pub struct VisitSchema {
    document: Value,
    validator: Validator,
}

/// A record that the schema does not accept.
#[derive(Debug, Clone, Default)]
pub struct Refused {
    /// What is wrong, at least one.
    pub findings: Vec<Finding>,
    /// Identity of the visit, if it could be read.
    pub visit_id: Option<String>,
    /// Revision, if it could be read.
    pub revision: Option<u32>,
    /// Pseudonym of the scout, if it could be read.
    pub observer_id: Option<String>,
}

/// A record that the schema accepts.
#[derive(Debug, Clone)]
pub struct Read {
    /// The visit.
    pub visit: Visit,
    /// Whether a byte order mark was passed over.
    pub byte_order_mark: bool,
}

impl Refused {
    /// Findings about a record of which this could be read.
    pub fn of(findings: Vec<Finding>, record: &Value) -> Refused {
        let member = |name: &str| record.get(name);
        Refused {
            findings,
            visit_id: member("visit_id").and_then(short_text),
            revision: member("revision")
                .and_then(Value::as_u64)
                .and_then(|revision| u32::try_from(revision).ok())
                .filter(|revision| *revision <= COUNT_MAX),
            observer_id: member("observer_id").and_then(short_text),
        }
    }
}

impl Default for VisitSchema {
    fn default() -> Self {
        VisitSchema::new()
    }
}

impl VisitSchema {
    /// Compiles the schema.
    pub fn new() -> VisitSchema {
        let document: Value =
            serde_json::from_str(VISIT_SCHEMA).expect("our own schema is JSON (tests/schema.rs)");
        let validator = jsonschema::draft202012::options()
            .should_validate_formats(true)
            .build(&document)
            .expect("our own schema is a schema (tests/schema.rs)");
        VisitSchema {
            document,
            validator,
        }
    }

    /// Reads one record.
    pub fn read(&self, record: &[u8]) -> Result<Read, Box<Refused>> {
        if record.len() > RECORD_BYTES_MAX {
            return Err(refused(too_long(record)));
        }
        let text =
            std::str::from_utf8(record).map_err(|error| refused(not_utf8(record, &error)))?;
        let without_mark = text.strip_prefix('\u{feff}');
        let text = without_mark.unwrap_or(text);
        match serde_json::from_str::<Visit>(text) {
            Ok(visit) if visit.conforms() => Ok(Read {
                visit,
                byte_order_mark: without_mark.is_some(),
            }),
            typed => match strict_value(text) {
                Ok(strict) => {
                    let StrictValue { value, repeated } = strict;
                    Err(Box::new(self.explain(&value, &repeated, typed.err())))
                }
                Err(error) => Err(refused(not_json(text, &error))),
            },
        }
    }

    /// Reads one record that was made of cells and was never text; what is refused of text is refused here.
    pub fn read_value(&self, record: &Value) -> Result<Read, Box<Refused>> {
        if written_length_max(record) > RECORD_BYTES_MAX {
            let written = record.to_string();
            if written.len() > RECORD_BYTES_MAX {
                return Err(refused(too_long(written.as_bytes())));
            }
        }
        match Visit::of_value(record) {
            Ok(visit) if visit.conforms() => Ok(Read {
                visit,
                byte_order_mark: false,
            }),
            _ if depth(record) > DEPTH_MAX => Err(refused(nested_too_deep())),
            typed => Err(Box::new(self.explain(record, &[], typed.err()))),
        }
    }

    /// What is wrong with a record that the typed reading refused.
    fn explain(
        &self,
        record: &Value,
        repeated_at: &[String],
        typed_error: Option<serde_json::Error>,
    ) -> Refused {
        let repeated = repeated_at.iter().map(|at| repeated(at));
        let of_schema = self.validator.iter_errors(record);
        let all = repeated.chain(of_schema.flat_map(|error| self.findings_of(&error)));
        let mut findings: Vec<Finding> = all.take(FINDINGS_MAX + 1).map(in_short).collect();
        if findings.len() > FINDINGS_MAX {
            findings[FINDINGS_MAX] = more_findings();
        }
        let mut findings = once_a_place(findings);
        if findings.is_empty() {
            findings.push(not_representable(typed_error));
        }
        Refused::of(findings, record)
    }

    fn findings_of(&self, error: &ValidationError<'_>) -> Vec<Finding> {
        let pointer = error.instance_path().as_str();
        let path = error.evaluation_path().as_str();
        match error.kind() {
            ValidationErrorKind::Required { property } => {
                let name = property.as_str().unwrap_or_default();
                let member = pointer_step(name);
                let expected = self.description(&format!("{}/properties{member}", parent(path)));
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
                    let expected = format!("no such member: {}", self.members(parent(path)));
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
                let mut expected = self.description(path);
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
    fn description(&self, path: &str) -> String {
        let mut node = &self.document;
        let mut nearest = None;
        for step in path.split('/').skip(1) {
            nearest = node.get("description").and_then(Value::as_str).or(nearest);
            node = match self.step(node, step) {
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
    fn members(&self, path: &str) -> String {
        let mut node = &self.document;
        for step in path.split('/').skip(1) {
            node = self.step(node, step).unwrap_or(node);
        }
        let members = node.get("properties").and_then(Value::as_object);
        let names: Vec<&str> = members
            .into_iter()
            .flat_map(|members| members.keys().map(String::as_str))
            .collect();
        format!("the members here are {}", names.join(", "))
    }

    fn step<'a>(&'a self, node: &'a Value, step: &str) -> Option<&'a Value> {
        let step = step.replace("~1", "/").replace("~0", "~");
        let next = match node {
            Value::Array(elements) => elements.get(step.parse::<usize>().ok()?)?,
            _ => node.get(&step)?,
        };
        if step != "$ref" {
            return Some(next);
        }
        self.document.pointer(next.as_str()?.strip_prefix('#')?)
    }
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

/// The place of the keyword's owner: the path without its last step.
fn parent(path: &str) -> &str {
    path.rsplit_once('/').map_or("", |(parent, _)| parent)
}

fn refused(finding: Finding) -> Box<Refused> {
    Box::new(Refused {
        findings: vec![finding],
        ..Refused::default()
    })
}

fn too_long(record: &[u8]) -> Finding {
    Finding::new(
        Code::RecordTooLong,
        "",
        format!("{} bytes", record.len()),
        format!("a record has at most {RECORD_BYTES_MAX} bytes: are line breaks missing?"),
    )
}

fn not_utf8(record: &[u8], error: &std::str::Utf8Error) -> Finding {
    let place = error.valid_up_to();
    Finding::new(
        Code::NotJson,
        "",
        format!("the byte 0x{:02x} at byte {}", record[place], place + 1),
        "JSON is UTF-8: save the file in that encoding",
    )
}

fn not_json(text: &str, error: &serde_json::Error) -> Finding {
    let words = error.to_string();
    // The library names this error in its words alone: `classify` calls it a fault of syntax.
    if words.contains("recursion limit") {
        return nested_too_deep();
    }
    Finding::new(
        Code::NotJson,
        "",
        format!("{words}, near {}", excerpt(text, error)),
        WHOLE_JSON_EXPECTED,
    )
}

fn nested_too_deep() -> Finding {
    Finding::new(
        Code::NestedTooDeep,
        "",
        format!("more than {DEPTH_MAX} levels of nesting"),
        "a visit record has fewer than ten",
    )
}

/// How many lists and objects are nested in one another.
fn depth(value: &Value) -> usize {
    match value {
        Value::Array(items) => 1 + items.iter().map(depth).max().unwrap_or(0),
        Value::Object(members) => 1 + members.values().map(depth).max().unwrap_or(0),
        _ => 0,
    }
}

/// The most bytes that a value can have when it is written.
fn written_length_max(value: &Value) -> usize {
    // A character of one byte may be written as `\u001f`, and each item has a comma.
    let text = |text: &str| 6 * text.len() + 2;
    match value {
        Value::String(string) => text(string),
        Value::Array(items) => items
            .iter()
            .fold(2, |sum, item| sum + written_length_max(item) + 1),
        Value::Object(members) => members.iter().fold(2, |sum, (name, member)| {
            sum + text(name) + written_length_max(member) + 2
        }),
        Value::Null | Value::Bool(_) | Value::Number(_) => NUMBER_LENGTH_MAX,
    }
}

/// The text about the place of a syntax error.
fn excerpt(text: &str, error: &serde_json::Error) -> String {
    let line = text
        .split('\n')
        .nth(error.line().saturating_sub(1))
        .unwrap_or_default();
    let line: Vec<char> = String::from_utf8_lossy(
        &line.as_bytes()[error.column().saturating_sub(24).min(line.len())..],
    )
    .chars()
    .take(QUOTE_LENGTH_MAX / 2)
    .collect();
    format!("{:?}", line.into_iter().collect::<String>())
}

fn repeated(pointer: &str) -> Finding {
    Finding::new(
        Code::DuplicateMember,
        pointer,
        "the member a second time",
        "each member stands once in its object; which of the two is meant?",
    )
}

/// Several keywords of the schema may fail for one reason: a date in another form misses its format
/// and its pattern, a `null` is of the wrong type and has no form at all. The reader hears it once.
fn once_a_place(findings: Vec<Finding>) -> Vec<Finding> {
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

fn more_findings() -> Finding {
    Finding::new(
        Code::MoreFindings,
        "",
        format!("more than {FINDINGS_MAX} findings"),
        format!("the first {FINDINGS_MAX} are listed: correct these, and look again"),
    )
}

/// A finding whose pointer is no longer than a reader can use.
fn in_short(mut finding: Finding) -> Finding {
    if finding.pointer.len() > POINTER_LENGTH_MAX {
        let end = finding.pointer.floor_char_boundary(POINTER_LENGTH_MAX);
        finding.pointer.truncate(end);
        finding.pointer.push('…');
    }
    finding
}

/// The text of an id, if it has the length of one.
fn short_text(value: &Value) -> Option<String> {
    value
        .as_str()
        .filter(|text| text.len() <= 4 * TEXT_LENGTH_MAX)
        .map(str::to_owned)
}

/// The schema accepts what the program cannot hold: our own gap, said openly.
fn not_representable(typed_error: Option<serde_json::Error>) -> Finding {
    Finding::new(
        Code::NotRepresentable,
        "",
        typed_error.map_or_else(
            || "a value past our limits".to_owned(),
            |error| error.to_string(),
        ),
        "the schema accepts this record but the program cannot hold it: please report it",
    )
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
