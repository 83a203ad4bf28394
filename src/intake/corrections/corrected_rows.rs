//! Corrected records that come back as rows: a sheet of `held export` in the plain layout, read without a mapping.
//!
//! Rows belong together by `held_id`, so that nothing is lost where a record could not say which visit it is,
//! or where somebody sorted the sheet. The columns that begin with `held_` are ours and are not read on.

use std::collections::HashMap;
use std::mem::take;

use serde_json::{Map, Value};

use crate::corrections::sent_out::{HEADER_ROWS_MAX, HELD_ID, column_named, text_of};
use crate::count_sheet::draft::complete;
use crate::mapping::made_id::{is_of_count_sheet, made_id};
use crate::mapping::plain_records;
use crate::read::raw_record::RawRecord;
use crate::sheet::table::{Cell, Row, Sheet, TableRecord};
use scouting::failure::{Failure, Kind};

/// Header of the column that says how the identity of a visit is made.
pub(crate) const ID_RECIPE: &str = "held_visit_id_from";
/// Columns that are ours alone begin so.
const OURS: &str = "held_";
/// Columns by which the plain layout is recognized, and those that mark the first row of a visit.
const VISIT_ID: &str = "visit_id";
const TELLING: [&str; 3] = [VISIT_ID, "protocol", "unit"];
const FIRST_ROW: [&str; 4] = [VISIT_ID, "protocol", "field_id", "observer_id"];
/// The text in place of an identity that is made later.
const TO_BE_MADE: &str = "to be made";

/// The records of sheets in which rows bear the id of the held record that they correct; `None` if there is none.
///
/// # Errors
/// If a column was added or taken out, so that the layout is not ours any more.
pub(crate) fn corrected_rows_of(
    sheets: &[Sheet],
    file_name: &str,
) -> Option<Result<Vec<RawRecord>, Failure>> {
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
                let mut raw = RawRecord::of_rows(settled(record, recipe.as_deref()));
                raw.mends = id.parse().ok();
                records.push(raw);
            }
        }
        Ok(records)
    }

    /// The rows of each held record, in the order of the first. A row that bears no id belongs to the one above.
    fn by_id(&self) -> Vec<(String, Vec<&'a Row>)> {
        let mut parts: Vec<(String, Vec<&Row>)> = Vec::new();
        let mut places: HashMap<String, usize> = HashMap::new();
        let mut above = None;
        for row in self.below {
            let id = row.cells.get(self.id).map(text_of).unwrap_or_default();
            let id = id.trim();
            let known = match id {
                "" => above,
                id => places.get(id).copied(),
            };
            let place = known.unwrap_or_else(|| {
                places.insert(id.to_owned(), parts.len());
                parts.push((id.to_owned(), Vec::new()));
                parts.len() - 1
            });
            parts[place].1.push(row);
            above = Some(place);
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
    let read = record.document.as_mut().unwrap_or(&mut record.draft);
    let mut document = read.as_object_mut().map(take).unwrap_or_default();
    settle(&mut document, recipe);
    if let Err(findings) = &mut record.document {
        findings.retain(|finding| {
            finding.pointer != "/submitted_at" || !document.contains_key("submitted_at")
        });
    }
    match &record.document {
        Err(findings) if !findings.is_empty() => record.draft = Value::Object(document),
        _ => record.document = Ok(Value::Object(document)),
    }
    record.id_recipe = Some(recipe.to_owned());
    record
}

/// Makes the identity of a record that bears none of its own.
pub(crate) fn settle(document: &mut Map<String, Value>, recipe: &str) {
    if is_of_count_sheet(recipe) {
        complete(document);
    }
    let own = document.get("visit_id").and_then(Value::as_str);
    if own.is_none_or(|own| own == TO_BE_MADE) {
        let made = made_id(recipe, document);
        document.insert("visit_id".to_owned(), made.into());
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::mapping::plain_header;
    use crate::read::raw_record::Sent;

    const ONE: &str = "01ababababababab-5";
    const OTHER: &str = "02ababababababab-9";

    /// A sheet of rows that say these things of a visit, each by column and text.
    fn sheet(more: &[&str], rows: &[&[(&str, &str)]]) -> Sheet {
        // One column as it is named now, and one as earlier versions named it.
        let ours = [HELD_ID, "held_problem", "held_wrong", ID_RECIPE].map(str::to_owned);
        let header = ours.into_iter().chain(plain_header(2));
        let header: Vec<String> = header
            .chain(more.iter().map(|name| (*name).to_owned()))
            .collect();
        let cells = |row: &[(&str, &str)]| -> Vec<Cell> {
            let cell = |name: &String| {
                let said = row.iter().find(|(column, _)| column == name);
                said.map_or(Cell::Empty, |(_, text)| Cell::Text((*text).to_owned()))
            };
            header.iter().map(cell).collect()
        };
        let first: Vec<Cell> = header.iter().cloned().map(Cell::Text).collect();
        let rows = std::iter::once(first).chain(rows.iter().map(|row| cells(row)));
        let rows = (1..).zip(rows).map(|(number, cells)| Row { number, cells });
        Sheet {
            name: "visits".to_owned(),
            rows: rows.collect(),
        }
    }

    /// The first row of a visit, without an identity of its own.
    fn first_row<'a>(id: &'a str, field: &'a str) -> Vec<(&'a str, &'a str)> {
        let said = "observed_on=2026-07-21 submitted_at=2026-07-21T18:03:00Z observer_id=obs-1 lon=-100 lat=44 \
            area_ha=60 crop_type=oilseed protocol=bsm-eggs crop_stage=R3 treatment_cost_amount=8 \
            treatment_cost_per=acre treatment_cost_currency=USD market_value_amount=0.16 market_value_per=lb \
            market_value_currency=USD plant_population_count=20000 plant_population_per=acre site=1 unit=1 \
            count_1=0 count_2=3";
        let said = said
            .split_whitespace()
            .filter_map(|part| part.split_once('='));
        let named = [HELD_ID, "field_id", "held_problem", "held_wrong"];
        said.chain(named.into_iter().zip([id, field, "=x", "=x"]))
            .collect()
    }

    fn rows(raw: &RawRecord) -> &TableRecord {
        match &raw.sent {
            Sent::Rows(rows) => rows,
            Sent::Bytes(bytes) => panic!("no rows: {bytes:?}"),
        }
    }

    fn handed_in(sheet: Sheet) -> Vec<(Option<String>, Value)> {
        let records = corrected_rows_of(&[sheet], "a.xlsx").expect("a sheet of ours");
        let record = |raw: RawRecord| {
            let document = rows(&raw).document.clone();
            let document = document.unwrap_or_else(|findings| panic!("{findings:?}"));
            (raw.mends.map(|id| id.to_string()), document)
        };
        let records = records.expect("records").into_iter();
        records.map(record).collect()
    }

    #[test]
    fn rows_belong_to_the_held_record_that_they_name_in_whatever_order_they_come() {
        let second = |id| {
            vec![
                (HELD_ID, id),
                ("site", "1"),
                ("unit", "2"),
                ("count_1", "1"),
                ("count_2", "0"),
            ]
        };
        let recipe = "day:{/field/field_id}:{/observed_on}";
        let mut one = first_row(ONE, "F-1");
        one.push((ID_RECIPE, recipe));
        let mut other = first_row(OTHER, "F-2");
        other.push(("visit_id", "own"));
        other.push((ID_RECIPE, recipe));
        // Sorted by the unit, backwards; a row that its sender added bears no id.
        let added = [
            ("site", "1"),
            ("unit", "3"),
            ("count_1", "7"),
            ("count_2", "7"),
        ];
        let rows = [second(OTHER), second(ONE), one, other];
        let mut rows: Vec<&[(&str, &str)]> = rows.iter().map(Vec::as_slice).collect();
        rows.push(&added);
        let records = handed_in(sheet(&[], &rows));
        let shown: Vec<(Option<&str>, &str, usize)> = records
            .iter()
            .map(|(id, visit)| {
                let heads = visit["sites"][0]["heads"].as_array().expect("heads");
                (
                    id.as_deref(),
                    visit["visit_id"].as_str().expect("an id"),
                    heads.len(),
                )
            })
            .collect();
        assert_eq!(
            shown,
            [
                (Some(OTHER), "own", 3),
                (Some(ONE), "day:F-1:2026-07-21", 2)
            ]
        );
    }

    #[test]
    fn a_record_without_an_identity_is_held_by_itself_and_does_not_join_another() {
        let mut named = first_row(ONE, "F-1");
        named.push(("visit_id", "a"));
        let nameless = first_row(OTHER, "F-2");
        let records = corrected_rows_of(&[sheet(&[], &[&named, &nameless])], "a.xlsx");
        let records = records.expect("ours").expect("records");
        let sound: Vec<bool> = records
            .iter()
            .map(|raw| rows(raw).document.is_ok())
            .collect();
        assert_eq!(sound, [true, false]);
    }

    #[test]
    fn what_is_held_again_is_kept_without_our_columns_and_with_its_recipe() {
        let mut row = first_row(ONE, "F-1");
        row.push((ID_RECIPE, "{/observed_on}"));
        let day = row.iter_mut().find(|(name, _)| *name == "observed_on");
        day.expect("a day").1 = "6/7/2026";
        let records = corrected_rows_of(&[sheet(&[], &[&row])], "a.xlsx");
        let records = records.expect("ours").expect("records");
        let kept = records[0].kept();
        let kept = std::str::from_utf8(&kept).expect("UTF-8");
        let (sent, read) = crate::corrections::kept_rows::read_kept(kept).expect("what was kept");
        assert_eq!(read.unread["/observed_on"], "6/7/2026");
        assert_eq!(read.id_recipe.as_deref(), Some("{/observed_on}"));
        assert_eq!(read.visit.get("visit_id"), None);
        assert!(sent.rows[0].cells[..3].iter().all(Value::is_null), "{kept}");
    }

    #[test]
    fn a_column_that_was_added_is_refused_by_the_sheet_and_other_sheets_are_not_ours() {
        let mut row = first_row(ONE, "F-1");
        row.push(("visit_id", "a"));
        row.push(("color", "red"));
        let failure = corrected_rows_of(&[sheet(&["color"], &[&row])], "a.xlsx")
            .expect("ours")
            .expect_err("a column that is not ours");
        assert!(
            failure.to_string().contains("take out added columns"),
            "{failure}"
        );
        let mut other = sheet(&[], &[&row]);
        other.rows[0].cells[0] = Cell::Text("id".to_owned());
        assert!(corrected_rows_of(&[other], "a.xlsx").is_none());
    }
}
