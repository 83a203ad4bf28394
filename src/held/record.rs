//! A held record on its way back to who sent it, and the form in which it goes.

use serde::Serialize;
use serde_json::Value;
use serde_json::value::RawValue;

use intake::sheet::table::Cell;
use scouting::visit::finding::Finding;
use scouting::visit::words::{InWords, in_words};

/// One held record.
#[derive(Debug, Clone)]
pub(crate) struct ReturnedRecord {
    /// Names it; comes back with the corrected record.
    pub held_id: String,
    /// File that it came in.
    pub file_name: String,
    /// Line of that file, from 1.
    pub line: u64,
    /// Identity of the visit, if it could be read.
    pub visit_id: Option<String>,
    /// Why it is held.
    pub findings: Vec<Finding>,
    /// The record as sent.
    pub record: String,
    /// The record in columns, if it came as rows of a table and fits into cells.
    pub rows: Option<ReturnedRows>,
}

/// A record that came as rows of a table, in the columns of the plain layout.
#[derive(Debug, Clone)]
pub(crate) struct ReturnedRows {
    /// Where its rows were: `Visits, rows 5 to 9`.
    pub place: String,
    /// Its rows as sent, a line each.
    pub as_sent: String,
    /// How many heads, plants or traps it has; `None` where its sender is to say so.
    pub units: Option<u64>,
    /// How its identity is made; comes back with the rows.
    pub id_recipe: Option<String>,
    /// The columns.
    pub header: Vec<String>,
    /// The rows, at least one.
    pub rows: Vec<ReturnedRow>,
    /// The record in JSON, for programs.
    pub record: Value,
}

/// A row of it.
#[derive(Debug, Clone)]
pub(crate) struct ReturnedRow {
    /// Its cells, as many as there are columns.
    pub cells: Vec<Cell>,
    /// What is to be corrected in it.
    pub to_correct: Vec<ReturnedCell>,
}

/// One thing to be corrected.
#[derive(Debug, Clone)]
pub(crate) struct ReturnedCell {
    /// Places of the columns where; none if no cell of the layout is it.
    pub columns: Vec<usize>,
    /// Where it was and what is wrong, in words.
    pub wrong: String,
    /// What would be right.
    pub right: String,
}

impl ReturnedRow {
    /// Whether something is to be corrected in this column.
    pub(crate) fn is_to_correct(&self, column: usize) -> bool {
        self.to_correct
            .iter()
            .any(|mend| mend.columns.contains(&column))
    }
}

impl ReturnedRecord {
    /// What is wrong, in words.
    pub(crate) fn in_words(&self) -> Vec<InWords> {
        if let Some(rows) = &self.rows {
            let to_correct = rows.rows.iter().flat_map(|row| &row.to_correct);
            let words = to_correct.map(|mend| InWords {
                wrong: mend.wrong.clone(),
                right: mend.right.clone(),
            });
            return words.collect();
        }
        let record: Option<Value> = serde_json::from_str(&self.record).ok();
        self.findings
            .iter()
            .map(|finding| in_words(finding, record.as_ref()))
            .collect()
    }

    /// Where it was in its file.
    pub(crate) fn place(&self) -> String {
        match &self.rows {
            Some(rows) => rows.place.clone(),
            None => format!("line {}", self.line),
        }
    }

    /// One line of JSON with the record inside, for `load` to take back.
    pub(crate) fn wrapped(&self) -> String {
        #[derive(Serialize)]
        struct Wrapped<'a> {
            held_id: &'a str,
            file: &'a str,
            line: u64,
            reasons: Vec<String>,
            #[serde(skip_serializing_if = "Option::is_none")]
            as_sent: Option<&'a str>,
            #[serde(skip_serializing_if = "Option::is_none")]
            held_visit_id_from: Option<&'a str>,
            record: Box<RawValue>,
        }
        let reasons = self.in_words();
        let wrapped = Wrapped {
            held_id: &self.held_id,
            file: &self.file_name,
            line: self.line,
            reasons: reasons
                .iter()
                .map(|words| format!("{}; {}", words.wrong, words.right))
                .collect(),
            as_sent: self.rows.as_ref().map(|rows| &*rows.as_sent),
            held_visit_id_from: self
                .rows
                .as_ref()
                .and_then(|rows| rows.id_recipe.as_deref()),
            record: self.as_json(),
        };
        serde_json::to_string(&wrapped).expect("texts and a number are plain JSON")
    }

    /// The record as one line of JSON: as it is if it is JSON, else as a text. A JSON text is
    /// wrapped like no JSON, so that what comes back can be distinguished.
    fn as_json(&self) -> Box<RawValue> {
        // A line break between two members is white space, and within a text it would be no JSON.
        let own = self.rows.as_ref().map(|rows| rows.record.to_string());
        let one_line = own
            .as_ref()
            .unwrap_or(&self.record)
            .replace(['\n', '\r'], " ");
        let raw = serde_json::value::RawValue::from_string(one_line).ok();
        raw.filter(|raw| !raw.get().starts_with('"'))
            .unwrap_or_else(|| {
                serde_json::value::to_raw_value(&self.record)
                    .expect("every text can be written as JSON")
            })
    }

    /// Name of the file of its own that a record gets which is too long for a cell.
    pub(crate) fn own_file(&self) -> String {
        format!("record-{}.json", self.held_id)
    }
}

/// File format of the records sent back.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum ReturnForm {
    /// A spreadsheet.
    Xlsx,
    /// A table of text for a spreadsheet.
    Csv,
    /// One wrapped record a line, for programs.
    Ndjson,
}
