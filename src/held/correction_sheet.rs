//! A held record that came as rows of a table, laid out so that its sender can correct it: in the columns of the
//! plain layout, with the cells that could not be read kept in their columns as sent.
//!
//! The members of a visit are in its first row alone, those of a site in the site's first row, so that each
//! is corrected in one cell. The text for a person about each is here; how the sheet looks is for others.

use serde_json::Value;

use super::plain_columns::{
    CATCH, COUNT, FIRST_BRACT, LAT, LON, NIGHTS, SIDE, SITE, SITE_LAT, SITE_LON, UNIT, expected_in,
    for_the_sender,
};
use super::record::{ReturnedCell, ReturnedRow, ReturnedRows};
use crate::shared::table_files::fits;
use intake::corrections::kept_rows::{ReadOfRows, read_kept, with_unread};
use intake::corrections::row_text::{in_lines, place_of};
use intake::corrections::sent_out::HELD_UNITS;
use intake::corrections::units::{Units, most_counts, number_is_asked, unit_word};
use intake::mapping::made_id::is_of_count_sheet;
use intake::mapping::{cell_of_sent, marked, plain_header};
use intake::sheet::table::Cell;
use scouting::visit::code::Code;
use scouting::visit::finding::Finding;
use scouting::visit::members::{Column, VISIT_COLUMNS};
use scouting::visit::words::{in_words, starts_formula};

/// Counts that a head has columns for where no head says how many it has.
const BRACTS_USUAL: usize = 6;

/// A held record in columns; `None` if it did not come as rows, nothing of it could be read, or a cell of a workbook
/// cannot hold its part.
pub(crate) fn in_columns(record: &str, findings: &[Finding]) -> Option<ReturnedRows> {
    let (sent, read) = read_kept(record)?;
    read.visit.as_object()?;
    let units = units_to_keep(&read, findings);
    let mut layout = Layout::of(&read);
    for finding in findings {
        layout.take(finding);
    }
    layout.ask_for_what_is_missing();
    if units.is_none() {
        layout.ask_for_units(findings);
    }
    let cells = layout.rows.iter().flat_map(|row| &row.cells);
    if !cells.into_iter().all(fits) {
        return None;
    }
    Some(ReturnedRows {
        place: place_of(&sent),
        as_sent: in_lines(&sent),
        units,
        header: layout.header,
        rows: layout.rows,
        record: with_unread(&read),
        id_recipe: read.id_recipe,
    })
}

/// The number of units that is to stay as it is; `None` where there is none yet, or where it is to be stated anew.
fn units_to_keep(read: &ReadOfRows, findings: &[Finding]) -> Option<u64> {
    let units = Units::of(&read.visit).sum();
    (units > 0 && !number_is_asked(read, findings)).then_some(units)
}

/// The rows as they are laid out.
struct Layout<'a> {
    read: &'a ReadOfRows,
    header: Vec<String>,
    rows: Vec<ReturnedRow>,
    /// The JSON Pointer of the site and the unit of each row.
    pointers: Vec<(String, String)>,
}

impl<'a> Layout<'a> {
    fn of(read: &'a ReadOfRows) -> Layout<'a> {
        let mut layout = Layout {
            read,
            header: plain_header(most_counts(&read.visit).max(BRACTS_USUAL)),
            rows: Vec::new(),
            pointers: Vec::new(),
        };
        let none = Vec::new();
        let sites = read.visit.get("sites").and_then(Value::as_array);
        for (place, site) in sites.unwrap_or(&none).iter().enumerate() {
            layout.add_site(&format!("/sites/{place}"), site);
        }
        if layout.rows.is_empty() {
            layout.add_row(String::new(), String::new());
        }
        for (column, (_, member)) in VISIT_COLUMNS.iter().enumerate() {
            if member.pointer != "/visit_id" || read.id_recipe.is_none() {
                layout.rows[0].cells[column] = layout.cell(member.pointer);
            }
        }
        layout
    }

    fn add_row(&mut self, site: String, unit: String) -> &mut Vec<Cell> {
        self.pointers.push((site, unit));
        self.rows.push(ReturnedRow {
            cells: vec![Cell::Empty; self.header.len()],
            to_correct: Vec::new(),
        });
        let row = self.rows.last_mut().expect("a row was just pushed");
        &mut row.cells
    }

    fn add_site(&mut self, pointer: &str, site: &Value) {
        let first = self.rows.len();
        for form in ["heads", "plants", "traps"] {
            let none = Vec::new();
            let units = site.get(form).and_then(Value::as_array).unwrap_or(&none);
            for (place, unit) in units.iter().enumerate() {
                let of_unit = format!("{pointer}/{form}/{place}");
                let counts = self.counts(form, &of_unit, unit);
                let cells = self.add_row(pointer.to_owned(), of_unit);
                cells[UNIT] = Cell::Number((place + 1) as f64);
                for (column, cell) in counts {
                    cells[column] = cell;
                }
            }
        }
        if self.rows.len() == first {
            self.add_row(pointer.to_owned(), String::new());
        }
        let number = self.cell(&format!("{pointer}/site"));
        for row in &mut self.rows[first..] {
            row.cells[SITE] = number.clone();
        }
        for (column, name) in [(SIDE, "side"), (SITE_LON, "lon"), (SITE_LAT, "lat")] {
            self.rows[first].cells[column] = self.cell(&format!("{pointer}/{name}"));
        }
    }

    fn counts(&self, form: &str, pointer: &str, unit: &Value) -> Vec<(usize, Cell)> {
        match form {
            "heads" => {
                let counts = unit.as_array().map_or(0, Vec::len);
                let bracts = 0..counts.min(self.header.len() - FIRST_BRACT);
                bracts
                    .map(|bract| {
                        (
                            FIRST_BRACT + bract,
                            self.cell(&format!("{pointer}/{bract}")),
                        )
                    })
                    .collect()
            }
            "plants" => vec![(COUNT, self.cell(pointer))],
            _ => vec![
                (CATCH, self.cell(&format!("{pointer}/catch"))),
                (NIGHTS, self.cell(&format!("{pointer}/nights"))),
            ],
        }
    }

    /// What is at a pointer: the value that was read, else the cell as sent.
    fn cell(&self, pointer: &str) -> Cell {
        match self.read.visit.pointer(pointer) {
            Some(Value::String(text)) => Cell::Text(marked(text)),
            Some(Value::Bool(truth)) => Cell::Truth(*truth),
            Some(Value::Number(number)) => number.as_f64().map_or(Cell::Empty, Cell::Number),
            Some(value @ (Value::Object(_) | Value::Array(_))) => Cell::Text(value.to_string()),
            Some(Value::Null) | None => self.as_sent(pointer),
        }
    }

    fn as_sent(&self, pointer: &str) -> Cell {
        match self.read.unread.get(pointer).and_then(cell_of_sent) {
            Some(Cell::Text(text) | Cell::Broken(text)) => Cell::Text(guarded(text)),
            Some(Cell::Date(date)) => Cell::Text(date.to_string()),
            Some(Cell::Moment(moment)) => Cell::Text(moment.to_string()),
            // Sent back as it is, neither may be taken for a plain number.
            Some(Cell::Percent(number)) => Cell::Text(format!("{}%", 100.0 * number)),
            Some(Cell::Struck(_)) | None => Cell::Empty,
            Some(cell) => cell,
        }
    }

    /// Says a finding in the row, and of the columns, that it is about.
    fn take(&mut self, finding: &Finding) {
        let (row, columns) = self.place(finding);
        let words = in_words(finding, Some(&self.read.visit));
        // What is expected of a cell of the sender's own sheet, its unit and codes, does not hold in this
        // one. Two readings of a date do, and so does what is said of a count sheet, which is ours, but for its
        // units: those of this sheet are fixed.
        let is_of_unit = matches!(
            finding.code,
            Code::HeadingChanged | Code::UnitDiffers | Code::UnitMissing
        ) || finding.pointer == "/field/area_ha";
        let holds = finding.code == Code::DateAmbiguous
            || self
                .read
                .id_recipe
                .as_deref()
                .is_some_and(is_of_count_sheet)
                && !is_of_unit;
        let was_read = self
            .read
            .visit
            .pointer(&finding.pointer)
            .is_some_and(|value| !value.is_null());
        let right = for_the_sender(&words.right);
        let right = match (was_read || holds, columns.as_slice()) {
            (false, [column]) => expected_in(*column).unwrap_or(right),
            _ => right,
        };
        self.rows[row].to_correct.push(ReturnedCell {
            columns,
            wrong: words.wrong,
            right: right.to_owned(),
        });
    }

    fn place(&self, finding: &Finding) -> (usize, Vec<usize>) {
        let pointer = finding.pointer.as_str();
        let within = |outer: &str| {
            pointer == outer || !outer.is_empty() && pointer.starts_with(&format!("{outer}/"))
        };
        if let Some(row) = self.pointers.iter().position(|(_, unit)| within(unit)) {
            let rest = pointer[self.pointers[row].1.len()..].trim_start_matches('/');
            return (row, self.count_columns(row, rest));
        }
        if let Some(row) = self.pointers.iter().position(|(site, _)| within(site)) {
            let columns = match pointer.rsplit('/').next().unwrap_or_default() {
                "side" => vec![SIDE],
                "lon" => vec![SITE_LON],
                "lat" => vec![SITE_LAT],
                "site" => vec![SITE],
                "heads" | "plants" | "traps" => vec![UNIT],
                _ => Vec::new(),
            };
            return (row, columns);
        }
        if pointer == "/sites" {
            return (0, vec![SITE, UNIT]);
        }
        if finding.code == Code::OutsideRegion {
            return (0, vec![LON, LAT]);
        }
        let columns = VISIT_COLUMNS.iter().enumerate().filter(|(_, (_, member))| {
            let of_column = member.pointer;
            within(of_column)
                || of_column.starts_with(&format!("{pointer}/")) && !pointer.is_empty()
        });
        let columns = columns.map(|(column, _)| column);
        // Of the economics only what is missing is to be filled in.
        let wanted = |column: &usize| {
            finding.code != Code::EconomicsMissing || self.rows[0].cells[*column] == Cell::Empty
        };
        (0, columns.filter(wanted).collect())
    }

    /// The columns of a unit's count, or of all its counts.
    fn count_columns(&self, row: usize, rest: &str) -> Vec<usize> {
        let unit = &self.pointers[row].1;
        if unit.contains("/plants/") {
            return vec![COUNT];
        }
        if unit.contains("/traps/") {
            return match rest {
                "catch" => vec![CATCH],
                "nights" => vec![NIGHTS],
                _ => vec![CATCH, NIGHTS],
            };
        }
        match rest.parse::<usize>() {
            Ok(bract) if FIRST_BRACT + bract < self.header.len() => vec![FIRST_BRACT + bract],
            _ => (FIRST_BRACT..self.header.len()).collect(),
        }
    }

    /// Where the rows themselves are in question, their number is, too.
    fn ask_for_units(&mut self, findings: &[Finding]) {
        if findings
            .iter()
            .any(|finding| finding.code == Code::UnitsChanged)
        {
            return;
        }
        let unit = unit_word(&self.read.visit);
        self.rows[0].to_correct.push(ReturnedCell {
            columns: Vec::new(),
            wrong: format!("{HELD_UNITS}: blank"),
            right: format!(
                "once the rows are right, write into {HELD_UNITS} how many {unit}s with counts the visit has"
            ),
        });
    }

    /// A cell that stays blank and that no finding names would keep the record held: a unit, say, that only
    /// the amount before it gives.
    fn ask_for_what_is_missing(&mut self) {
        let by_us: &[&str] = match self.read.id_recipe.as_deref() {
            None => &[],
            Some(recipe) if is_of_count_sheet(recipe) => &["visit_id", "submitted_at"],
            Some(_) => &["visit_id"],
        };
        let row = &mut self.rows[0];
        for (column, (Column { name, .. }, member)) in VISIT_COLUMNS.iter().enumerate() {
            let named = row
                .to_correct
                .iter()
                .any(|mend| mend.columns.contains(&column));
            let blank = row.cells[column] == Cell::Empty;
            let asked = !named && !by_us.contains(name) && may_not_be_blank(column, &row.cells);
            if let (Some(expected), true, true) = (member.asked, blank, asked) {
                row.to_correct.push(ReturnedCell {
                    columns: vec![column],
                    wrong: format!("{name}: nothing could be read"),
                    right: expected.to_owned(),
                });
            }
        }
    }
}

/// Whether a blank cell of the visit would keep the record held: an amount may be unknown, and its unit is
/// needed only with it.
fn may_not_be_blank(column: usize, cells: &[Cell]) -> bool {
    let pointer = VISIT_COLUMNS[column].1.pointer;
    let Some((amount, member)) = pointer
        .strip_prefix("/economics/")
        .and_then(|rest| rest.split_once('/'))
    else {
        return true;
    };
    let amount_cell = VISIT_COLUMNS.iter().position(|(_, other)| {
        let of_amount = ["amount", "count"].map(|name| format!("/economics/{amount}/{name}"));
        of_amount.iter().any(|pointer| pointer == other.pointer)
    });
    !matches!(member, "amount" | "count")
        && amount_cell.is_some_and(|place| cells[place] != Cell::Empty)
}

/// A text that no reader takes for a formula.
fn guarded(text: String) -> String {
    match starts_formula(&text) || text.starts_with('\'') {
        true => format!("'{text}"),
        false => text,
    }
}

#[cfg(test)]
mod tests {
    use serde_json::json;

    use super::*;

    fn held(read: Value, findings: &[Finding]) -> ReturnedRows {
        let record = json!({"sheet": "Visits", "header": ["Field", null],
            "rows": [{"row": 5, "cells": ["F-1", {"date": "2026-07-21"}, null]}], "read": read});
        in_columns(&record.to_string(), findings).expect("rows")
    }

    #[test]
    fn what_could_not_be_read_stands_in_its_column_and_is_named() {
        let read = json!({"visit": {"protocol": "bsm-eggs", "field": {"field_id": "=F"},
              "sites": [{"site": 3, "side": "N", "heads": [[0, 1], [2, null]]}]},
            "id_recipe": "{/field/field_id}",
            "unread": {"/sites/0/heads/1/1": "1/2", "/observed_on": "=6/7/2026", "/field/lat": 4512,
                "/economics/treatment_cost/amount": "8 dollars"}});
        let findings = [
            Finding::new(
                Code::NumberNotExact,
                "/sites/0/heads/1/1",
                "Visits!F5: \"1/2\"",
                "a count",
            ),
            Finding::new(Code::DateAmbiguous, "/observed_on", "Visits!B5", "a date"),
            Finding::new(Code::OutsideRegion, "/field", "lon", "a point"),
            Finding::new(Code::WrongForm, "", "all of it", "y"),
        ];
        let record = held(read, &findings);
        assert_eq!(record.place, "Visits, row 5");
        assert_eq!(record.as_sent, "row 5: Field = F-1 · 2026-07-21");
        assert_eq!(record.rows.len(), 2);
        let at = |row: usize, name: &str| {
            let column = record.header.iter().position(|header| header == name);
            record.rows[row].cells[column.expect("a column")].clone()
        };
        let text = |text: &str| Cell::Text(text.to_owned());
        assert_eq!(at(0, "observed_on"), text("'=6/7/2026"));
        assert_eq!(at(0, "field_id"), text("'=F"));
        assert_eq!(at(0, "lat"), Cell::Number(4512.0));
        assert_eq!(at(0, "visit_id"), Cell::Empty);
        assert_eq!((at(0, "side"), at(1, "side")), (text("N"), Cell::Empty));
        assert_eq!(
            (at(1, "count_1"), at(1, "count_2")),
            (Cell::Number(2.0), text("1/2"))
        );
        assert_eq!(
            (at(1, "protocol"), at(1, "site")),
            (Cell::Empty, Cell::Number(3.0))
        );

        let named = |row: usize| -> Vec<Vec<&str>> {
            let to_correct = record.rows[row].to_correct.iter();
            let names =
                |mend: &ReturnedCell| mend.columns.iter().map(|at| &*record.header[*at]).collect();
            to_correct.map(names).collect()
        };
        assert_eq!(named(1), [["count_2"]]);
        assert_eq!(
            named(0)[..3],
            [vec!["observed_on"], vec!["lon", "lat"], vec![]]
        );
        // An amount may stay blank, and then so may its unit.
        assert!(!named(0).contains(&vec!["market_value_per"]));
        assert!(named(0).contains(&vec!["treatment_cost_per"]));
        assert!(!named(0).contains(&vec!["visit_id"]) && !named(0).contains(&vec!["lat"]));
        assert_eq!(record.record["sites"][0]["heads"][1][1], "1/2");
        assert_eq!(record.record["field"]["lat"], 4512);
    }

    #[test]
    fn plants_and_traps_stand_in_their_own_columns() {
        let read = json!({"visit": {"sites": [
                {"site": 1, "plants": [3, null]},
                {"site": 2, "traps": [{"catch": 14, "nights": 7}, {"catch": null}]}]},
            "id_recipe": null, "unread": {"/sites/0/plants/1": "few"}});
        let findings = [
            Finding::new(Code::WrongForm, "/sites/0/plants/1", "few", "a count"),
            Finding::new(
                Code::WrongForm,
                "/sites/1/traps/1/nights",
                "nothing",
                "nights",
            ),
            Finding::new(Code::WrongForm, "/sites/1/traps/1", "nothing", "a trap"),
        ];
        let record = held(read, &findings);
        let counted: Vec<[Cell; 3]> = record
            .rows
            .iter()
            .map(|row| [COUNT, CATCH, NIGHTS].map(|column| row.cells[column].clone()))
            .collect();
        let number = Cell::Number;
        assert_eq!(counted[0], [number(3.0), Cell::Empty, Cell::Empty]);
        let few = Cell::Text("few".to_owned());
        assert_eq!(counted[1], [few, Cell::Empty, Cell::Empty]);
        assert_eq!(counted[2], [Cell::Empty, number(14.0), number(7.0)]);
        let columns = |row: usize, place: usize| record.rows[row].to_correct[place].columns.clone();
        assert_eq!(columns(1, 0), [COUNT]);
        assert_eq!(
            (columns(3, 0), columns(3, 1)),
            (vec![NIGHTS], vec![CATCH, NIGHTS])
        );
    }

    #[test]
    fn a_record_without_counts_has_a_row_to_fill() {
        let read =
            json!({"visit": {"protocol": "x", "sites": []}, "id_recipe": null, "unread": {}});
        let finding = Finding::new(
            Code::CountsMissing,
            "/sites",
            "nothing",
            "at least one site",
        );
        let record = held(read, &[finding]);
        assert_eq!(record.rows.len(), 1);
        assert_eq!(record.rows[0].to_correct[0].columns, [SITE, UNIT]);
        assert!(in_columns("{\"visit_id\":\"a\"}", &[]).is_none());
    }

    #[test]
    fn the_number_of_units_goes_out_unless_they_are_in_question_themselves() {
        let read = || {
            json!({"visit": {"sites": [{"site": 1, "heads": [[0, 1], [2, 3]]}]}, "id_recipe": null,
                "unread": {"/observed_on": "6/7/2026"}})
        };
        let finding = |code, pointer: &str| Finding::new(code, pointer, "x", "y");
        let of_cell = held(read(), &[finding(Code::DateAmbiguous, "/observed_on")]);
        assert_eq!(of_cell.units, Some(2));
        let of_units = held(read(), &[finding(Code::CountRepeated, "/sites/0/heads")]);
        assert_eq!(of_units.units, None);
        let asked = of_units.rows[0].to_correct.iter();
        assert!(
            asked
                .map(|mend| &mend.right)
                .any(|right| right.contains("held_units"))
        );
    }

    #[test]
    fn an_area_in_another_unit_is_asked_for_in_hectares() {
        let read = json!({"visit": {"sites": []}, "id_recipe": "count-sheet",
            "unread": {"/field/area_ha": "100 ?"}});
        let finding = Finding::new(
            Code::UnitDiffers,
            "/field/area_ha",
            "x",
            "one unit: acre or ha",
        );
        let record = held(read, &[finding]);
        assert_eq!(
            record.rows[0].to_correct[0].right,
            "the field's area in hectares"
        );
    }
}
