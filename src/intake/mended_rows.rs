//! Mended records that come back as rows: a sheet of `held export` in the plain layout, read without a mapping.
//!
//! Rows belong together by `held_id`, so that nothing is lost where a record could not say which visit it is,
//! or where somebody sorted the sheet. The columns that begin with `held_` are ours and are not read on.

use serde_json::{Map, Value};

use super::count_sheet::complete;
use super::made_id::{COUNT_SHEET_ID, made_id};
use super::mapping::plain_records;
use super::mended::{HELD_ID, column_named, text_of};
use super::reader::RawRecord;
use super::table::{Cell, Row, Sheet, TableRecord};
use super::table_records::raw_record;
use crate::failure::{Failure, Kind};

/// Header of the column that says how the identity of a visit is made.
pub const ID_RECIPE: &str = "held_visit_id_from";
/// Rows in which the header is looked for.
const HEADER_ROWS_MAX: usize = 20;
/// Columns that are ours alone begin so.
const OURS: &str = "held_";
/// Columns by which the plain layout is told, and what tells the first row of a visit.
const VISIT_ID: &str = "visit_id";
const TELLING: [&str; 3] = [VISIT_ID, "protocol", "unit"];
const FIRST_ROW: [&str; 4] = [VISIT_ID, "protocol", "field_id", "observer_id"];
/// What stands for an identity that is made later.
const TO_BE_MADE: &str = "to be made";

/// The records of sheets in which rows bear the id of the held record that they mend; `None` if there is none.
///
/// # Errors
/// If a column was added or taken out, so that the layout is not ours any more.
pub fn mended_rows(sheets: &[Sheet], file_name: &str) -> Option<Result<Vec<RawRecord>, Failure>> {
    let tables: Vec<Table<'_>> = sheets.iter().filter_map(Table::of).collect();
    if tables.is_empty() {
        return None;
    }
    let records = tables.iter().map(|table| table.records(file_name));
    let records: Result<Vec<Vec<RawRecord>>, Failure> = records.collect();
    Some(records.map(|records| records.concat()))
}

/// A sheet with our header.
struct Table<'a> {
    sheet: &'a Sheet,
    header: &'a Row,
    below: &'a [Row],
    id: usize,
}

impl<'a> Table<'a> {
    fn of(sheet: &'a Sheet) -> Option<Table<'a>> {
        let rows = sheet.rows.iter().take(HEADER_ROWS_MAX);
        rows.enumerate().find_map(|(place, header)| {
            let id = column_named(header, HELD_ID)?;
            let ours = TELLING
                .iter()
                .all(|name| column_named(header, name).is_some());
            ours.then(|| Table {
                sheet,
                header,
                below: &sheet.rows[place + 1..],
                id,
            })
        })
    }

    fn records(&self, file_name: &str) -> Result<Vec<RawRecord>, Failure> {
        let mut records = Vec::new();
        for (id, rows) in self.by_id() {
            let recipe = self.first_text(&rows, ID_RECIPE);
            let part = Sheet {
                name: self.sheet.name.clone(),
                rows: self.laid_out(rows, recipe.is_some()),
            };
            let read = plain_records(&[part], file_name)
                .unwrap_or_else(|| Err(self.not_ours(file_name)))?;
            for record in read {
                let mut raw = raw_record(settled(record, recipe.as_deref()));
                raw.mends = id.parse().ok();
                records.push(raw);
            }
        }
        Ok(records)
    }

    /// The rows of each held record, in the order of the first. A row that bears no id belongs to the one above.
    fn by_id(&self) -> Vec<(String, Vec<&'a Row>)> {
        let mut parts: Vec<(String, Vec<&Row>)> = Vec::new();
        for row in self.below {
            let id = row.cells.get(self.id).map(text_of).unwrap_or_default();
            let id = id.trim();
            let known = match id {
                "" => parts.len().checked_sub(1),
                id => parts.iter().rposition(|(other, _)| other == id),
            };
            match known {
                Some(place) => parts[place].1.push(row),
                None => parts.push((id.to_owned(), vec![row])),
            }
        }
        parts
    }

    /// Header and rows as the plain layout has them, the visit's first row first.
    fn laid_out(&self, mut rows: Vec<&Row>, id_is_made: bool) -> Vec<Row> {
        let tells = |row: &Row| {
            FIRST_ROW.iter().any(|name| {
                let cell = column_named(self.header, name).and_then(|at| row.cells.get(at));
                cell.is_some_and(|cell| !text_of(cell).trim().is_empty())
            })
        };
        rows.sort_by_key(|row| !tells(row));
        let mut rows: Vec<Row> = std::iter::once(self.header)
            .chain(rows)
            .map(|row| self.without_ours(row))
            .collect();
        if let (true, Some(at), Some(first)) = (
            id_is_made,
            column_named(self.header, VISIT_ID),
            rows.get_mut(1),
        ) {
            first
                .cells
                .resize(first.cells.len().max(at + 1), Cell::Empty);
            if text_of(&first.cells[at]).trim().is_empty() {
                first.cells[at] = Cell::Text(TO_BE_MADE.to_owned());
            }
        }
        rows
    }

    fn without_ours(&self, row: &Row) -> Row {
        let mut row = row.clone();
        for (cell, header) in row.cells.iter_mut().zip(&self.header.cells) {
            if text_of(header).trim().starts_with(OURS) {
                *cell = Cell::Empty;
            }
        }
        row
    }

    fn first_text(&self, rows: &[&Row], name: &str) -> Option<String> {
        let at = column_named(self.header, name)?;
        let texts = rows.iter().filter_map(|row| row.cells.get(at)).map(text_of);
        texts
            .map(|text| text.trim().to_owned())
            .find(|text| !text.is_empty())
    }

    fn not_ours(&self, file_name: &str) -> Failure {
        Failure::new(
            Kind::Submission,
            format!(
                "cannot load {file_name}: the sheet \"{}\" has other columns than it was sent out with",
                self.sheet.name
            ),
        )
        .at(format!("row {}", self.header.number))
        .mend("take out added columns, and give the others their names back")
    }
}

/// The record with what is left to us: its identity, and for a count sheet the time of submission.
fn settled(mut record: TableRecord, recipe: Option<&str>) -> TableRecord {
    let Some(recipe) = recipe else {
        return record;
    };
    let mut document = match &record.document {
        Ok(document) => serde_json::from_str(document).unwrap_or_default(),
        Err(_) => record.draft.as_object().cloned().unwrap_or_default(),
    };
    settle(&mut document, recipe);
    if let Err(findings) = &mut record.document {
        findings.retain(|finding| {
            finding.pointer != "/submitted_at" || !document.contains_key("submitted_at")
        });
    }
    match &record.document {
        Err(findings) if !findings.is_empty() => record.draft = Value::Object(document),
        _ => record.document = Ok(Value::Object(document).to_string()),
    }
    record.id_recipe = Some(recipe.to_owned());
    record
}

/// Makes the identity of a record that bears none of its own.
pub fn settle(document: &mut Map<String, Value>, recipe: &str) {
    if recipe == COUNT_SHEET_ID {
        complete(document);
    }
    let own = document.get("visit_id").and_then(Value::as_str);
    if own.is_none_or(|own| own == TO_BE_MADE) {
        let made = made_id(recipe, document);
        document.insert("visit_id".to_owned(), made.into());
    }
}
