//! Visit records as JSON and NDJSON: what is accepted is what the published schema accepts.

use std::sync::LazyLock;

use intake::judge::validate::VisitSchema;
use intake::mapping::Mapping;
use intake::read::submitted::Form;
use intake::sheet::strict::strict_value;

use super::desk::{VISIT, hold_to_its_records, submission};

/// The longest record that is read, bytes: `intake::validate`.
const RECORD_BYTES_MAX: usize = 1 << 20;

/// The mapping of another program's documents, whose rows are the items of a list.
static OTHER: LazyLock<Mapping> = LazyLock::new(|| {
    let text = include_str!("other_json.toml");
    Mapping::read(text, "other_json.toml").expect("a mapping")
});

/// Looks at one submission.
pub fn look(bytes: &[u8]) {
    thread_local! {
        static SCHEMA: VisitSchema = VisitSchema::new();
    }
    let Some(file) = submission(bytes) else {
        return;
    };
    let by_lines = file.form_name() == "ndjson";
    let mut records = 0;
    let mut each = |record: &[u8]| {
        records += 1;
        if file.form.is_table() {
            return;
        }
        let typed = SCHEMA.with(|schema| schema.read(record));
        assert_eq!(
            typed.is_ok(),
            by_the_schema(record),
            "read {typed:?}, of {}",
            record.escape_ascii()
        );
    };
    hold_to_its_records(&file, None, &mut each);
    if matches!(file.form, Form::Json | Form::Ndjson) {
        // Whatever is no record of ours may be another program's, by a mapping.
        hold_to_its_records(&file, Some(&OTHER), &mut |_| {});
    }
    if by_lines {
        // Every line that holds something is a record, and nothing else is.
        let lines = bytes.split(|byte| *byte == b'\n');
        let report = lines.filter(|line| {
            let line = line.strip_prefix(b"\xef\xbb\xbf").unwrap_or(line);
            !line.trim_ascii().is_empty()
        });
        assert_eq!(records, report.count());
    }
}

/// What any program with the schema and an I-JSON reader (RFC 7493: UTF-8, unique names) would say.
fn by_the_schema(record: &[u8]) -> bool {
    let Ok(text) = std::str::from_utf8(record) else {
        return false;
    };
    let text = text.strip_prefix('\u{feff}').unwrap_or(text);
    record.len() <= RECORD_BYTES_MAX
        && strict_value(text)
            .is_ok_and(|strict| strict.repeated.is_empty() && VISIT.is_valid(&strict.value))
}
