//! The rows of a held record as a person reads them: where they were, and what was in them.

use serde_json::Value;

use crate::corrections::kept_rows::SentRows;

/// Between the cells of a row as sent: no sign that a reader of text tables may take for the end of a cell.
const BETWEEN_CELLS: &str = " · ";

/// The sheets and rows of a record: `Visits, row 2 and Counts, rows 2 to 21`.
pub fn place_of(sent: &SentRows) -> String {
    let parts = sent.parts().map(|part| {
        let rows = match part.rows.as_slice() {
            [] => String::new(),
            [one] => format!("row {}", one.row),
            [first, .., last] => format!("rows {} to {}", first.row, last.row),
        };
        match part.sheet.as_str() {
            "" => rows,
            sheet => format!("{sheet}, {rows}"),
        }
    });
    parts.collect::<Vec<_>>().join(" and ")
}

/// The rows as sent, a line each, every filled cell behind its heading.
pub fn in_lines(sent: &SentRows) -> String {
    let plain = |value: &Value| match value {
        Value::String(text) => text.clone(),
        Value::Object(object) => match object.values().next() {
            Some(Value::String(text)) => text.clone(),
            _ => value.to_string(),
        },
        value => value.to_string(),
    };
    let lines = sent.parts().flat_map(|part| {
        part.rows.iter().map(move |row| {
            let cells = row
                .cells
                .iter()
                .enumerate()
                .filter(|(_, cell)| !cell.is_null());
            let cells = cells.map(|(place, cell)| match part.header.get(place).map(plain) {
                Some(heading) if !heading.is_empty() && heading != "null" => {
                    format!("{heading} = {}", plain(cell))
                }
                _ => plain(cell),
            });
            let cells: Vec<String> = cells.collect();
            format!("row {}: {}", row.row, cells.join(BETWEEN_CELLS))
        })
    });
    lines.collect::<Vec<_>>().join("\n")
}
