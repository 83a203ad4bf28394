//! Corrected records that come back as rows: a sheet of `held export` in the plain layout, read without a mapping.
//!
//! Rows belong together by `held_id`, so that nothing is lost where a record could not say which visit it is,
//! or where somebody sorted the sheet. The columns that begin with `held_` are ours and are not read on.

use crate::corrections::made_identity::{TO_BE_MADE, VISIT_ID, settled};
use crate::corrections::returned::{Clues, Returned, ReturnedUnits};
use crate::corrections::returned_header::{
    bracts, header_place, heading, is_read, own_columns, refuse_lost_columns,
};
use crate::corrections::rows_of_records::{RowsOfRecord, rows_of_records};
use crate::corrections::sent_out::{
    HELD_AS_SENT, HELD_FILE, HELD_ID, HELD_PLACE, HELD_UNITS, ID_RECIPE, column_named, first_text,
    text_of,
};
use crate::corrections::units::Units;
use crate::mapping::plain_records;
use crate::read::not_read::ColumnNotRead;
use crate::read::raw_record::RawRecord;
use crate::sheet::grid::letters;
use crate::sheet::table::{Cell, Row, Sheet};
use scouting::failure::Failure;

/// Columns that mark the first row of a visit.
const FIRST_ROW: [&str; 4] = [VISIT_ID, "protocol", "field_id", "observer_id"];
/// Columns that hold counts, besides those of bracts.
const COUNTS: [&str; 3] = ["count", "catch", "nights"];
const COUNT_OF_BRACT: &str = "count_";

/// The records of sheets that were sent out in rows to be corrected; `None` if there is no such sheet.
///
/// # Errors
/// If a sheet has lost a column.
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

/// Columns that somebody added to such sheets.
pub(crate) fn columns_added(sheets: &[Sheet]) -> Vec<ColumnNotRead> {
    let tables = sheets.iter().filter_map(Table::of);
    let columns = tables.map(|table| own_columns(table.sheet, table.header, table.below));
    columns.flatten().collect()
}

/// A sheet with our header.
struct Table<'a> {
    sheet: &'a Sheet,
    header: &'a Row,
    below: &'a [Row],
}

impl<'a> Table<'a> {
    fn of(sheet: &'a Sheet) -> Option<Table<'a>> {
        let place = header_place(sheet)?;
        Some(Table {
            sheet,
            header: &sheet.rows[place],
            below: &sheet.rows[place + 1..],
        })
    }

    fn records(&self, file_name: &str) -> Result<Vec<RawRecord>, Failure> {
        refuse_lost_columns(self.sheet, self.header, file_name)?;
        let lacks_recipe = column_named(self.header, ID_RECIPE).is_none();
        let id_column = column_named(self.header, HELD_ID);
        let mut records = Vec::new();
        for part in rows_of_records(self.below, id_column, |row| self.names_visit(row)) {
            let recipe = first_text(self.header, &part.rows, ID_RECIPE);
            let laid_out = Sheet {
                name: self.sheet.name.clone(),
                rows: self.laid_out(&part, recipe.is_some() || lacks_recipe),
                lists: None,
            };
            let read = plain_records(&[laid_out], file_name).unwrap_or(Ok(Vec::new()))?;
            for record in read {
                let mut raw = RawRecord::of_rows(settled(record, recipe.as_deref()));
                raw.mends = part.id.parse().ok();
                raw.returned = Some(Box::new(self.returned(&part, lacks_recipe)));
                records.push(raw);
            }
        }
        Ok(records)
    }

    /// Header and rows as the plain layout has them, the visit's first row first.
    fn laid_out(&self, part: &RowsOfRecord<'_>, id_is_made: bool) -> Vec<Row> {
        let mut rows = part.rows.clone();
        rows.sort_by_key(|row| !self.names_visit(row));
        let mut rows: Vec<Row> = std::iter::once(self.header)
            .chain(rows)
            .map(|row| self.plain_cells(row))
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

    fn names_visit(&self, row: &Row) -> bool {
        let is_filled = |name: &&str| {
            let cell = column_named(self.header, name).and_then(|at| row.cells.get(at));
            cell.is_some_and(|cell| !text_of(cell).trim().is_empty())
        };
        FIRST_ROW.iter().any(is_filled)
    }

    /// The row without our columns and those that somebody added.
    fn plain_cells(&self, row: &Row) -> Row {
        let mut row = row.clone();
        for (place, cell) in row.cells.iter_mut().enumerate() {
            if !is_read(&heading(self.header, place)) {
                *cell = Cell::Empty;
            }
        }
        row
    }

    fn returned(&self, part: &RowsOfRecord<'_>, lacks_recipe: bool) -> Returned {
        let text = |name: &str| first_text(self.header, &part.rows, name).unwrap_or_default();
        Returned {
            clues: Clues {
                file: text(HELD_FILE),
                place: text(HELD_PLACE),
                as_sent: text(HELD_AS_SENT),
            },
            rows: Some(self.units(part)),
            lacks_recipe,
            findings: Vec::new(),
        }
    }

    fn units(&self, part: &RowsOfRecord<'_>) -> ReturnedUnits {
        let mut units = Units::default();
        let site = column_named(self.header, "site");
        for row in &part.rows {
            let name = site.and_then(|at| row.cells.get(at)).map(text_of);
            if self.has_counts(row) {
                units.add(name.unwrap_or_default().trim(), 1);
            }
        }
        let first = part
            .rows
            .first()
            .map_or(self.header.number, |row| row.number);
        let last = part.rows.last().map_or(first, |row| row.number);
        let column = column_named(self.header, HELD_UNITS);
        let cell = column.map_or("row ".to_owned(), letters);
        let stated = first_text(self.header, &part.rows, HELD_UNITS);
        ReturnedUnits {
            units,
            stated: stated.map(|text| text.parse().map_err(|_| text)),
            stated_at: self.place(format!("{cell}{first} ({HELD_UNITS})"), "!"),
            place: self.place(format!("rows {first} to {last}"), ", "),
            bracts: bracts(self.header),
        }
    }

    /// A place behind the sheet's name, which a text file has none of.
    fn place(&self, within: String, between: &str) -> String {
        match self.sheet.name.as_str() {
            "" => within,
            sheet => format!("{sheet}{between}{within}"),
        }
    }

    fn has_counts(&self, row: &Row) -> bool {
        row.cells.iter().enumerate().any(|(place, cell)| {
            let name = heading(self.header, place);
            let is_count = COUNTS.contains(&&*name) || name.starts_with(COUNT_OF_BRACT);
            is_count && !text_of(cell).trim().is_empty()
        })
    }
}

#[cfg(test)]
mod tests {
    use serde_json::Value;

    use super::*;
    use crate::corrections::made_identity::identified_by;
    use crate::mapping::plain_header;
    use crate::read::raw_record::Sent;
    use crate::sheet::table::TableRecord;

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
            lists: None,
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
    fn a_column_that_was_added_is_named_and_not_read_and_other_sheets_are_not_ours() {
        let mut row = first_row(ONE, "F-1");
        row.push(("visit_id", "a"));
        row.push(("color", "red"));
        let added = sheet(&["color"], &[&row]);
        let columns = columns_added(std::slice::from_ref(&added));
        let named: Vec<&str> = columns.iter().map(|column| &*column.heading).collect();
        assert_eq!(named, ["color"]);
        assert_eq!(handed_in(added).len(), 1);
        let mut other = sheet(&[], &[&row]);
        for place in 0..4 {
            other.rows[0].cells[place] = Cell::Text(format!("own {place}"));
        }
        assert!(corrected_rows_of(&[other], "a.xlsx").is_none());
    }

    /// The sheet without a column, or with another heading over it.
    fn changed(mut sheet: Sheet, name: &str, heading: Option<&str>) -> Sheet {
        let at = column_named(&sheet.rows[0], name).expect("the column");
        for row in &mut sheet.rows {
            match heading {
                Some(_) => {}
                None => drop(row.cells.remove(at)),
            }
        }
        if let Some(heading) = heading {
            sheet.rows[0].cells[at] = Cell::Text(heading.to_owned());
        }
        sheet
    }

    #[test]
    fn a_lost_column_is_named_with_the_one_that_is_there_in_its_place() {
        let mut row = first_row(ONE, "F-1");
        row.push(("visit_id", "a"));
        let whole = sheet(&[], &[&row]);
        for (name, heading, named) in [
            ("lon", Some("longitude"), ["\"lon\"", "\"longitude\""]),
            ("crop_type", None, ["\"crop_type\"", "copy a deleted one"]),
            ("visit_id", None, ["\"visit_id\"", "held export"]),
            ("count_1", Some("bract"), ["\"count_1\"", "\"bract\""]),
        ] {
            let changed = changed(whole.clone(), name, heading);
            let refused = corrected_rows_of(&[changed], "a.xlsx").expect("ours");
            let refused = refused.expect_err("a column is lost");
            let said = format!("{refused} {:?}", refused.help());
            for words in named {
                assert!(said.contains(words), "{words} in {said}");
            }
        }
    }

    #[test]
    fn without_its_id_a_record_says_where_it_was_and_how_many_units_it_has() {
        let mut row = first_row(ONE, "F-1");
        row.extend([
            ("visit_id", "a"),
            ("held_file", "week.csv"),
            ("held_place", "row 3"),
            ("held_units", "2"),
        ]);
        let blank = [("site", "1"), ("unit", "2")];
        let mut whole = sheet(&[], &[&row, &blank]);
        for (place, name) in ["held_file", "held_place", "held_units"].iter().enumerate() {
            let said = row
                .iter()
                .find(|(column, _)| column == name)
                .expect("a column");
            whole.rows[0].cells.push(Cell::Text((*name).to_owned()));
            whole.rows[1].cells.push(Cell::Text(said.1.to_owned()));
            assert_eq!(
                whole.rows[0].cells.len(),
                whole.rows[1].cells.len(),
                "{place}"
            );
        }
        let lost = changed(whole, HELD_ID, None);
        let records = corrected_rows_of(&[lost], "a.xlsx")
            .expect("ours")
            .expect("records");
        assert_eq!((records.len(), records[0].mends), (1, None));
        let returned = records[0].returned.as_ref().expect("it came back");
        assert_eq!(
            (&*returned.clues.file, &*returned.clues.place),
            ("week.csv", "row 3")
        );
        let units = returned.rows.as_ref().expect("rows");
        // A row whose counts were cleared is no unit.
        assert_eq!(units.units.in_words("head"), "1 head (site 1: 1)");
        assert_eq!(units.stated, Some(Ok(2)));
    }

    #[test]
    fn an_identity_that_only_the_store_can_make_is_made_by_its_recipe() {
        let row = first_row(ONE, "F-1");
        let lost = changed(sheet(&[], &[&row]), ID_RECIPE, None);
        let records = corrected_rows_of(&[lost], "a.xlsx")
            .expect("ours")
            .expect("records");
        let made = |recipe| {
            let record = identified_by(rows(&records[0]).clone(), recipe);
            record.document.map(|visit| visit["visit_id"].clone())
        };
        assert_eq!(made(Some("{/field/field_id}")), Ok("F-1".into()));
        let findings = made(None).expect_err("no identity");
        assert!(findings[0].found.contains(ID_RECIPE), "{findings:?}");
    }
}
