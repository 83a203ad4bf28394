//! `plan field` with its options, and the rows of its table.

use serde_json::{Value, json};

use crate::support::{Run, bractline};

/// Runs `plan field` outside of any workspace.
pub fn plan(arguments: &[&str]) -> Run {
    bractline(&[&["plan", "field"], arguments].concat())
}

/// The rows of a CSV, by column.
pub fn csv_rows(bytes: &[u8]) -> Vec<Value> {
    let mut reader = csv::Reader::from_reader(bytes);
    let names = reader.headers().expect("a header").clone();
    let row = |record: csv::StringRecord| -> Value {
        let cells = names.iter().zip(&record);
        cells
            .map(|(name, cell)| (name.to_owned(), json!(cell.parse::<f64>().ok())))
            .collect::<serde_json::Map<_, _>>()
            .into()
    };
    reader
        .records()
        .map(|record| row(record.expect("a record")))
        .collect()
}
