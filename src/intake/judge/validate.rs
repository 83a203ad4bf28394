//! One record's bytes → a visit that the schema accepts, or what is wrong with it.
//!
//! The typed reading is fast and silent; a record that fails it is read again with the schema, so
//! that its report names each place ([`super::schema_findings`]). What the trade asks beyond the schema is in `visit::rules`.

use jsonschema::Validator;
use serde_json::Value;

use super::schema_findings::{
    FINDINGS_MAX, findings_of, in_short, more_findings, once_a_place, repeated,
};
use crate::sheet::strict::{StrictValue, strict_value};
use scouting::visit::code::Code;
use scouting::visit::finding::Finding;
use scouting::visit::record::{COUNT_MAX, TEXT_LENGTH_MAX, Visit};

/// The public contract, as it is published.
pub const VISIT_SCHEMA: &str = include_str!("../../../schemas/visit.schema.json");

/// The longest record that is read. A visit is about 1 KiB, one of 10,000 heads about 130 KiB; to say all that is
/// wrong with a longer one takes a thousand times its size in memory.
const RECORD_BYTES_MAX: usize = 1 << 20;
/// What a message quotes about the place of a syntax error, in characters.
const EXCERPT_LENGTH_MAX: usize = 30;
/// The longest number that is written, bytes: `-1.2345678901234567e-300`.
const NUMBER_LENGTH_MAX: usize = 25;
/// The deepest nesting that is read.
const DEPTH_MAX: usize = 127;

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
        let all = repeated.chain(of_schema.flat_map(|error| findings_of(&self.document, &error)));
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
    if words.contains("recursion limit") {
        return nested_too_deep();
    }
    Finding::new(
        Code::NotJson,
        "",
        format!("{words}, near {}", excerpt(text, error)),
        "a whole JSON document is expected (RFC 8259); NaN, Infinity and numbers past 1.8e308 are not JSON",
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
    .take(EXCERPT_LENGTH_MAX)
    .collect();
    format!("{:?}", line.into_iter().collect::<String>())
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
