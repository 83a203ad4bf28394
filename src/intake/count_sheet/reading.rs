//! A filled count sheet → records, without a mapping: the tabs Visits and Counts joined by the visit's number.
//!
//! Rows left blank are passed over; every other row comes out in some record, as a document for the schema
//! and the rules or with findings that name its cells. Reading the file is not done here, nor is any
//! judgment that all records share. The columns are in `protocol::sheet_layout`.
//!
//! The sheet has no column for `visit_id`. It is made of what distinguishes one visit from another
//! (`made_id::COUNT_SHEET_ID`) and of nothing else: the same visit in another file is the same visit, and a
//! corrected one, with `Revision` raised, is its next revision.

use std::collections::BTreeMap;

use serde_json::{Value, json};

use crate::count_sheet::amounts::{heading_changed, take_amount};
use crate::count_sheet::draft::Draft;
use crate::count_sheet::headed_tab::{HeadedTab, Known, Presence};
use crate::count_sheet::marks::{Marks, marks, tab_of};
use crate::count_sheet::printed_rows::PrintedRows;
use crate::count_sheet::sheet_cells::{as_sent, holds_something, is_blank};
use crate::count_sheet::site_counts::{CountTab, sites_of};
use crate::mapping::made_id::COUNT_SHEET_ID;
use crate::read::not_read::ColumnNotRead;
use crate::sheet::table::{Row, Sheet, TableRecord};
use scouting::failure::{Failure, Kind};
use scouting::protocol::sheet_layout::{
    COUNTS_TAB, DayForm, INSTRUCTIONS_TAB, LAYOUT, MARK_BRACTS, MARK_DAYS, MARK_FORM, MARK_LAYOUT,
    MARK_PROTOCOL, MARK_SITES, MARK_TAB, MARK_UNITS, VISITS_TAB, VisitColumn,
};
use scouting::visit::code::Code;
use scouting::visit::finding::Finding;
use scouting::visit::record::{COUNTS_OF_HEAD_MAX, CountForm};

/// The records of a filled count sheet; `None` if the workbook is none. One record a visit, in the order
/// of the tab Visits, then one for counts of each visit that Visits does not have, and one for each tab or
/// place with entries where none belong.
///
/// # Errors
/// A [`Failure`] if a tab or a heading is missing or the layout is of a later version.
pub fn count_sheet_records(
    sheets: &[Sheet],
    file_name: &str,
) -> Option<Result<Vec<TableRecord>, Failure>> {
    let book = Book::of_sheets(sheets, file_name)?;
    Some(book.map(|book| book.records(sheets)))
}

/// Columns that somebody added to a count sheet.
pub(crate) fn columns_added(sheets: &[Sheet]) -> Vec<ColumnNotRead> {
    match Book::of_sheets(sheets, "") {
        Some(Ok(book)) => {
            let tabs = [&book.visits, &book.counts.tab];
            tabs.into_iter().flat_map(HeadedTab::own_columns).collect()
        }
        _ => Vec::new(),
    }
}

/// A count sheet whose tabs and headings were found.
struct Book<'a> {
    protocol: String,
    /// The form in which it asks for days.
    days: DayForm,
    visits: HeadedTab<'a>,
    counts: CountTab<'a>,
    printed: PrintedRows,
}

impl<'a> Book<'a> {
    fn of_sheets(sheets: &'a [Sheet], file_name: &str) -> Option<Result<Book<'a>, Failure>> {
        let marks = marks(sheets, file_name)?;
        Some(marks.and_then(|marks| Book::of(sheets, &marks, file_name)))
    }

    fn of(sheets: &'a [Sheet], marks: &Marks, file_name: &str) -> Result<Book<'a>, Failure> {
        let refused = |what: String, mend: &str| {
            Failure::new(Kind::Submission, format!("cannot read {file_name}: {what}")).mend(mend)
        };
        let mark = |key: &str| marks.get(key).map(String::as_str).unwrap_or_default();
        if mark(MARK_LAYOUT) != LAYOUT {
            let what = format!("it is a count sheet of the layout {:?}", mark(MARK_LAYOUT));
            return Err(refused(
                what,
                "this version reads the layout \"count-sheet 1\": use a newer version",
            ));
        }
        let damaged = |key: &str| {
            let what = format!("its hidden tab {MARK_TAB:?} does not say {key:?} as it should");
            refused(
                what,
                "copy the entries into a fresh count sheet (bractline sheet)",
            )
        };
        let tab = |name: &str| {
            tab_of(sheets, name).ok_or_else(|| {
                refused(
                    format!("the tab {name:?} of the count sheet is missing"),
                    "give the tab its name back, or copy the entries into a fresh count sheet (bractline sheet)",
                )
            })
        };
        let form = [CountForm::Heads, CountForm::Plants, CountForm::Traps]
            .into_iter()
            .find(|form| form.member() == mark(MARK_FORM))
            .ok_or_else(|| damaged(MARK_FORM))?;
        let bracts = match form {
            CountForm::Heads => mark(MARK_BRACTS)
                .parse()
                .ok()
                .filter(|bracts| (1..=COUNTS_OF_HEAD_MAX).contains(bracts))
                .ok_or_else(|| damaged(MARK_BRACTS))?,
            CountForm::Plants | CountForm::Traps => 0,
        };
        if mark(MARK_PROTOCOL).is_empty() {
            return Err(damaged(MARK_PROTOCOL));
        }
        let days = match mark(MARK_DAYS) == DayForm::MonthFirst.name() {
            true => DayForm::MonthFirst,
            false => DayForm::YearFirst,
        };
        let columns = VisitColumn::ALL.map(|column| Known {
            name: column.name().to_owned(),
            unit: column.unit_with(days),
            presence: match column {
                VisitColumn::AreaIn => Presence::Sometimes,
                VisitColumn::TreatedOn | VisitColumn::Treatment => Presence::SometimesWithUnit,
                _ => Presence::Always,
            },
        });
        let counts = CountTab::of(tab(COUNTS_TAB)?, form, bracts, file_name)?;
        let number = |key| mark(key).parse::<u64>().ok();
        let made_with = number(MARK_SITES).zip(number(MARK_UNITS));
        Ok(Book {
            protocol: mark(MARK_PROTOCOL).to_owned(),
            days,
            visits: HeadedTab::of(tab(VISITS_TAB)?, &columns, file_name)?,
            printed: PrintedRows::of(&counts, made_with),
            counts,
        })
    }

    fn records(&self, sheets: &[Sheet]) -> Vec<TableRecord> {
        let mut units = self.counts.filled_units();
        let rows: Vec<&Row> = self
            .visits
            .rows()
            .iter()
            .filter(|row| self.is_filled(row))
            .collect();
        let mut rows_of_number: BTreeMap<Option<u64>, usize> = BTreeMap::new();
        for row in &rows {
            *rows_of_number.entry(self.number(row)).or_default() += 1;
        }
        let mut records = Vec::new();
        for row in rows {
            let number = self.number(row);
            // Units without a visit's number belong to no visit, least of all to one without a number.
            let units = number
                .and_then(|_| units.remove(&number))
                .unwrap_or_default();
            records.push(self.visit_record(row, &units, rows_of_number[&number]));
        }
        records.extend(units.values().map(|units| self.orphaned(units)));
        records.extend(self.strays(sheets));
        records
    }

    /// Whether a scout wrote in the row: the visit's number, revision 1 and the units are there from the start, and a unit
    /// without an amount says nothing.
    fn is_filled(&self, row: &'a Row) -> bool {
        let written = |(place, column): (usize, VisitColumn)| {
            let cell = self.visits.cell(row, place);
            match column {
                VisitColumn::Visit => false,
                _ if !column.amounts().is_empty() => false,
                VisitColumn::Revision => !cell.is_blank() && cell.ordinal() != Some(1),
                _ => !cell.is_blank(),
            }
        };
        VisitColumn::ALL.into_iter().enumerate().any(written)
            || !self.visits.unknown_cells(row).is_empty()
    }

    /// The unit of an amount means nothing where the amount is blank.
    fn is_meant(&self, row: &'a Row, column: VisitColumn) -> bool {
        let amounts = column.amounts();
        let mut filled = VisitColumn::ALL
            .into_iter()
            .enumerate()
            .filter(|(place, _)| !self.visits.cell(row, *place).is_blank());
        amounts.is_empty() || filled.any(|(_, column)| amounts.contains(&column))
    }

    fn number(&self, row: &'a Row) -> Option<u64> {
        self.visits.cell(row, 0).ordinal()
    }

    fn visit_record(&self, row: &'a Row, units: &[&'a Row], rows_of_number: usize) -> TableRecord {
        let mut draft = Draft::default();
        draft.findings.extend(self.visits.unknown_cells(row));
        let number = self.visits.cell(row, 0);
        draft.places.insert(String::new(), number.place.clone());
        if number.ordinal().is_none() {
            draft.findings.push(number.finding(
                Code::VisitNumberMissing,
                "",
                "the number under which the visit's counts are is expected: 1, 2 …",
            ));
        } else if rows_of_number > 1 {
            draft.findings.push(number.finding(
                Code::VisitNumberRepeated,
                "",
                "each visit has a number of its own: which counts belong to this one?",
            ));
        } else if units.is_empty() {
            draft.findings.push(number.finding(
                Code::VisitWithoutCounts,
                "/sites",
                "the tab Counts has none under this number: write 0 where nothing was found",
            ));
        }
        self.take_columns(&mut draft, row);
        draft.drop_units_alone();
        let missing = number
            .ordinal()
            .filter(|_| rows_of_number == 1)
            .and_then(|number| self.printed.missing(&self.counts, number, units));
        draft.findings.extend(missing);
        let sites = sites_of(&self.counts, units);
        draft.findings.extend(sites.findings);
        draft.places.extend(sites.places);
        draft.set("/sites", sites.sites.into());
        draft.set("/schema_version", "1.0".into());
        draft.set("/protocol", self.protocol.as_str().into());

        let mut sent = self.visits.as_sent(&[row]);
        if !units.is_empty() {
            let counts = Value::Object(self.counts.tab.as_sent(units));
            sent.insert("more".to_owned(), vec![counts].into());
        }
        let known = Value::Object(draft.document.clone());
        TableRecord {
            submission_fixed_by: None,
            doubts: Vec::new(),
            line: row.number,
            as_sent: Value::Object(sent).to_string(),
            places: draft.places.clone(),
            document: draft.finished(),
            draft: known,
            id_recipe: Some(COUNT_SHEET_ID.to_owned()),
        }
    }

    /// Takes the cells of a visit; those of amounts together with their units.
    fn take_columns(&self, draft: &mut Draft, row: &'a Row) {
        let units: Vec<VisitColumn> = VisitColumn::ALL
            .iter()
            .filter_map(|column| column.unit_column())
            .collect();
        for column in VisitColumn::ALL.into_iter().skip(1) {
            if let Some(unit) = column.unit_column() {
                take_amount(draft, &self.visits, row, (column, unit));
            } else if !units.contains(&column) && self.is_meant(row, column) {
                let cell = self.visits.cell(row, column.place());
                match self.changed(column).filter(|_| !cell.is_blank()) {
                    Some(finding) => {
                        draft.places.insert(column.pointer().to_owned(), cell.place);
                        draft.findings.push(finding);
                    }
                    None => draft.take(column, &cell, self.days_in(column)),
                }
            }
        }
    }

    /// The form of days in a column: the sheet's, as long as the heading still says it.
    fn days_in(&self, column: VisitColumn) -> DayForm {
        let printed = column.unit_with(self.days);
        let heading = self.visits.bracket(column.place());
        match heading.is_some_and(|(bracket, _)| bracket.eq_ignore_ascii_case(printed)) {
            true => self.days,
            false => DayForm::YearFirst,
        }
    }

    /// A finding if a heading says another unit than sheets print.
    fn changed(&self, column: VisitColumn) -> Option<Finding> {
        let (bracket, place) = self.visits.bracket(column.place())?;
        let is_changed = column.is_measured() && !column.has_printed(&bracket);
        is_changed.then(|| {
            let printed = (column.name(), column.unit());
            heading_changed(printed, column.pointer(), (&bracket, &place))
        })
    }

    /// Counts under a number that no visit has.
    fn orphaned(&self, units: &[&'a Row]) -> TableRecord {
        let number = self.counts.tab.cell(units[0], 0);
        let expected = "the tab Visits has no filled row of this number: write the visit there, or clear the counts";
        let mut findings = vec![number.finding(Code::CountsWithoutVisit, "", expected)];
        let sites = sites_of(&self.counts, units);
        findings.extend(sites.findings);
        TableRecord {
            submission_fixed_by: None,
            doubts: Vec::new(),
            line: units[0].number,
            as_sent: Value::Object(self.counts.tab.as_sent(units)).to_string(),
            document: Err(findings),
            draft: json!({"schema_version": "1.0", "protocol": self.protocol, "sites": sites.sites}),
            id_recipe: Some(COUNT_SHEET_ID.to_owned()),
            places: BTreeMap::from([(String::new(), number.place)]),
        }
    }

    /// Entries where none belong: above the headings, and on tabs that are not the sheet's.
    fn strays(&self, sheets: &[Sheet]) -> Vec<TableRecord> {
        let mut records = Vec::new();
        let tabs = [&self.visits, &self.counts.tab];
        for tab in tabs {
            let expected =
                "nothing may be above the headings: move it into a row under them, or clear it";
            let above = tab.rows_above();
            records.extend(stray(tab.name(), &above, Code::RowsAboveHeadings, expected));
        }
        let ours = [MARK_TAB, INSTRUCTIONS_TAB, tabs[0].name(), tabs[1].name()];
        for sheet in sheets.iter().filter(|sheet| !ours.contains(&&*sheet.name)) {
            let rows: Vec<&Row> = sheet
                .rows
                .iter()
                .filter(|row| holds_something(row))
                .collect();
            let expected = "the count sheet has no such tab: move what counts to Visits and Counts, and remove the tab";
            records.extend(stray(&sheet.name, &rows, Code::TabUnknown, expected));
        }
        records
    }
}

fn stray(tab: &str, rows: &[&Row], code: Code, expected: &str) -> Option<TableRecord> {
    let first = rows.first()?;
    let place = format!("{tab}, row {}", first.number);
    let filled = rows.iter().flat_map(|row| &row.cells);
    let filled = filled.filter(|cell| !is_blank(cell)).count();
    let found = format!("{place}: entries in {filled} cells from here on");
    Some(TableRecord {
        submission_fixed_by: None,
        doubts: Vec::new(),
        line: first.number,
        as_sent: Value::Object(as_sent(tab, &[], rows)).to_string(),
        document: Err(vec![Finding::new(code, "", found, expected)]),
        draft: Value::Null,
        id_recipe: None,
        places: BTreeMap::from([(String::new(), place)]),
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::sheet::table::Cell;

    #[test]
    fn what_has_no_mark_of_ours_is_no_count_sheet() {
        let sheet = |name: &str, cells: &[&str]| Sheet {
            name: name.to_owned(),
            lists: None,
            rows: vec![Row {
                number: 1,
                cells: cells
                    .iter()
                    .map(|&text| Cell::Text(text.to_owned()))
                    .collect(),
            }],
        };
        assert!(count_sheet_records(&[], "a.xlsx").is_none());
        let visits = sheet(VISITS_TAB, &["Visit"]);
        assert!(count_sheet_records(&[visits], "a.xlsx").is_none());
        let other = sheet(MARK_TAB, &[MARK_LAYOUT, "something else"]);
        assert!(count_sheet_records(&[other], "a.xlsx").is_none());
        let later = sheet(MARK_TAB, &[MARK_LAYOUT, "count-sheet 2"]);
        let failure = count_sheet_records(&[later], "a.xlsx")
            .expect("a count sheet")
            .expect_err("of a later version");
        assert!(failure.to_string().contains("newer version"), "{failure}");
    }
}
