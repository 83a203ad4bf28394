//! The tab Counts of a count sheet: its filled units, and the sites of one visit made of them.
//!
//! A unit without any count was not examined and is passed over. One with some of its counts is never
//! completed: a blank is not 0.

use std::collections::BTreeMap;

use serde_json::{Map, Value};

use crate::count_sheet::amounts::heading_changed;
use crate::count_sheet::headed_tab::{HeadedTab, Known, Presence};
use crate::count_sheet::sheet_cells::Placed;
use crate::sheet::table::{Row, Sheet};
use scouting::failure::Failure;
use scouting::protocol::catalogue::Layout;
use scouting::protocol::sheet_layout::CountColumn;
use scouting::visit::code::Code;
use scouting::visit::finding::Finding;
use scouting::visit::record::CountForm;

/// The tab Counts.
pub(crate) struct CountTab<'a> {
    pub(crate) tab: HeadedTab<'a>,
    form: CountForm,
    columns: Vec<CountColumn>,
}

/// The sites of one visit, and what is wrong with them.
#[derive(Default)]
pub(crate) struct Sites {
    pub(crate) sites: Vec<Value>,
    pub(crate) findings: Vec<Finding>,
    pub(crate) places: BTreeMap<String, String>,
}

impl<'a> CountTab<'a> {
    pub(crate) fn of(
        sheet: &'a Sheet,
        form: CountForm,
        bracts: usize,
        file_name: &str,
    ) -> Result<CountTab<'a>, Failure> {
        // With every column that a sheet may have; a protocol of the interior asks for no side.
        let columns = CountColumn::of(form, bracts, Layout::Edge, true);
        let known = columns.iter().map(|column| Known {
            name: column.name(),
            unit: column.unit(),
            presence: match column {
                CountColumn::Side => Presence::Sometimes,
                CountColumn::Total => Presence::SometimesWithUnit,
                _ => Presence::Always,
            },
        });
        let known: Vec<Known> = known.collect();
        Ok(CountTab {
            tab: HeadedTab::of(sheet, &known, file_name)?,
            form,
            columns,
        })
    }

    /// The rows in which a scout wrote, by the visit's number; `None` where there is none.
    pub(crate) fn filled_units(&self) -> BTreeMap<Option<u64>, Vec<&'a Row>> {
        let mut units: BTreeMap<Option<u64>, Vec<&Row>> = BTreeMap::new();
        for row in self.tab.rows().iter().filter(|row| self.is_filled(row)) {
            units
                .entry(self.tab.cell(row, 0).ordinal())
                .or_default()
                .push(row);
        }
        units
    }

    fn is_filled(&self, row: &'a Row) -> bool {
        let numbers = |column: &CountColumn| {
            matches!(
                column,
                CountColumn::Visit | CountColumn::Site | CountColumn::Unit(_)
            )
        };
        let written = |(place, column): (usize, &CountColumn)| {
            !numbers(column) && !self.tab.cell(row, place).is_blank()
        };
        self.columns.iter().enumerate().any(written) || !self.tab.unknown_cells(row).is_empty()
    }

    pub(crate) fn cell(&self, row: &'a Row, column: CountColumn) -> Placed<'a> {
        let place = self.columns.iter().position(|known| *known == column);
        self.tab.cell(
            row,
            place.expect("a column of the form is among its columns"),
        )
    }

    /// The cells that hold the counts of a unit, one by one.
    fn counts(&self, row: &'a Row) -> Vec<Placed<'a>> {
        let places = (0..self.columns.len()).filter(|place| is_count(self.columns[*place]));
        places.map(|place| self.tab.cell(row, place)).collect()
    }

    /// The cell of one total for a unit, where its form has such a column.
    fn total(&self, row: &'a Row) -> Option<Placed<'a>> {
        let has_totals = self.columns.contains(&CountColumn::Total);
        has_totals.then(|| self.cell(row, CountColumn::Total))
    }

    fn has_total(&self, row: &'a Row) -> bool {
        self.total(row).is_some_and(|cell| !cell.is_blank())
    }

    fn has_single_counts(&self, row: &'a Row) -> bool {
        !self.counts(row).iter().all(Placed::is_blank)
    }

    /// Whether the row holds a count in any form.
    pub(crate) fn has_counts(&self, row: &'a Row) -> bool {
        self.has_single_counts(row) || self.has_total(row)
    }

    /// The column of the unit's number.
    pub(crate) fn unit_column(&self) -> CountColumn {
        CountColumn::Unit(self.form)
    }

    /// What a unit is called: `Head`.
    pub(crate) fn unit_name(&self) -> String {
        self.unit_column().name()
    }

    /// A finding for each column of counts whose heading says another unit than sheets print.
    fn changed_headings(&self) -> Vec<Finding> {
        let counts = self
            .columns
            .iter()
            .enumerate()
            .filter(|(_, column)| is_count(**column));
        let changed = counts.filter_map(|(place, column)| {
            let (bracket, heading) = self.tab.bracket(place)?;
            let is_changed = !bracket.eq_ignore_ascii_case(column.unit());
            let printed = (&*column.name(), column.unit());
            is_changed.then(|| heading_changed(printed, "/sites", (&bracket, &heading)))
        });
        changed.collect()
    }
}

fn is_count(column: CountColumn) -> bool {
    matches!(
        column,
        CountColumn::Bract(_) | CountColumn::Count | CountColumn::Catch | CountColumn::Nights
    )
}

/// The sites of one visit, by number, of the rows that were filled for it.
pub(crate) fn sites_of<'a>(tab: &CountTab<'a>, rows: &[&'a Row]) -> Sites {
    let mut made = Sites::default();
    if !rows.is_empty() {
        made.findings.extend(tab.changed_headings());
    }
    let form = made.form(tab, rows);
    let mut rows_of_site: BTreeMap<u64, Vec<&Row>> = BTreeMap::new();
    for &row in rows {
        made.findings.extend(tab.tab.unknown_cells(row));
        let number = tab.cell(row, CountColumn::Site);
        match number.ordinal() {
            Some(site) => rows_of_site.entry(site).or_default().push(row),
            None => made.findings.push(number.finding(
                Code::SiteNumberMissing,
                "/sites",
                "the number of the site is expected: 1, 2 …",
            )),
        }
    }
    for (number, rows) in rows_of_site {
        made.add_site(tab, form, number, &rows);
    }
    made
}

impl Sites {
    /// The form of the visit's counts: totals if every examined head has one and some have nothing else. Of a visit no two
    /// heads may be counted in different forms.
    fn form<'a>(&mut self, tab: &CountTab<'a>, rows: &[&'a Row]) -> CountForm {
        let has_total_alone = |row: &&&Row| tab.has_total(row) && !tab.has_single_counts(row);
        let Some(alone) = rows.iter().find(has_total_alone) else {
            return tab.form;
        };
        let mut single = rows.iter().filter(|row| tab.has_single_counts(row));
        if single.all(|row| tab.has_total(row)) {
            return CountForm::Plants;
        }
        let expected = "the heads of a visit are counted in one way: write the total of every head, or the bracts of every head";
        let found = tab
            .total(alone)
            .map(|cell| cell.finding(Code::TotalOfSomeUnits, "/sites", expected));
        self.findings.extend(found);
        tab.form
    }

    fn add_site<'a>(&mut self, tab: &CountTab<'a>, form: CountForm, number: u64, rows: &[&'a Row]) {
        let pointer = format!("/sites/{}", self.sites.len());
        let place = tab.cell(rows[0], CountColumn::Site).place;
        self.places.insert(pointer.clone(), place);
        let mut site = Map::from_iter([("site".to_owned(), number.into())]);
        if let Some(side) = self.side(tab, &pointer, rows) {
            site.insert("side".to_owned(), side);
        }
        let counts = self.units(tab, form, &pointer, rows);
        site.insert(form.member().to_owned(), counts.into());
        self.sites.push(site.into());
    }

    /// The side, which one row of the site is enough to give.
    fn side<'a>(&mut self, tab: &CountTab<'a>, pointer: &str, rows: &[&'a Row]) -> Option<Value> {
        let pointer = format!("{pointer}/side");
        let mut side = None;
        for row in rows {
            let cell = tab.cell(row, CountColumn::Side);
            if cell.is_blank() {
                continue;
            }
            match cell.text(&pointer) {
                Err(finding) => self.findings.push(finding),
                Ok(text) if side.is_none() => {
                    self.places.insert(pointer.clone(), cell.place);
                    side = Some(text);
                }
                Ok(text) if side.as_ref() != Some(&text) => {
                    let expected =
                        "a site is on one side of the field: another row of it has another side";
                    self.findings
                        .push(cell.finding(Code::SideDiffers, &pointer, expected));
                }
                Ok(_) => {}
            }
        }
        side
    }

    /// The counts of a site's examined units, by the unit's number.
    fn units<'a>(
        &mut self,
        tab: &CountTab<'a>,
        form: CountForm,
        pointer: &str,
        rows: &[&'a Row],
    ) -> Vec<Value> {
        let pointer = format!("{pointer}/{}", form.member());
        let mut examined: Vec<(u64, &Row)> = Vec::new();
        for &row in rows {
            if !tab.has_counts(row) {
                continue;
            }
            let number = tab.cell(row, CountColumn::Unit(tab.form));
            match number.ordinal() {
                None => self.findings.push(number.finding(
                    Code::UnitNumberMissing,
                    &pointer,
                    "the number of the unit within its site is expected: 1, 2 …",
                )),
                Some(unit) if examined.iter().any(|(earlier, _)| *earlier == unit) => {
                    let expected =
                        "each unit of a site has a number of its own: which of the rows is meant?";
                    self.findings
                        .push(number.finding(Code::UnitRepeated, &pointer, expected));
                }
                Some(unit) => examined.push((unit, row)),
            }
        }
        if examined.is_empty() {
            let site = tab.cell(rows[0], CountColumn::Site);
            self.findings.push(site.finding(
                Code::SiteWithoutCounts,
                &pointer,
                "the site has entries but no counts: write 0 where nothing was found, or clear it",
            ));
        }
        examined.sort_by_key(|(unit, _)| *unit);
        let mut units = Vec::new();
        for (place, (_, row)) in examined.into_iter().enumerate() {
            self.compare_total(tab, &pointer, row);
            units.push(self.unit(tab, form, &format!("{pointer}/{place}"), row));
        }
        units
    }

    /// A total next to counts must be their sum.
    fn compare_total<'a>(&mut self, tab: &CountTab<'a>, pointer: &str, row: &'a Row) {
        let counts = tab.counts(row);
        let numbers: Option<Vec<u64>> = counts
            .iter()
            .map(|cell| cell.number("").ok()?.as_u64())
            .collect();
        let total = tab.total(row).filter(|cell| !cell.is_blank());
        let (Some(numbers), Some(total)) = (numbers, total) else {
            return;
        };
        let sum: u64 = numbers.iter().sum();
        if total.number("").ok().and_then(|total| total.as_u64()) != Some(sum) {
            let expected =
                format!("the sum of the head's bracts, {sum}; or correct the bract that is wrong");
            let finding = total.finding(Code::TotalDiffers, pointer, &expected);
            self.findings.push(finding);
        }
    }

    fn unit<'a>(
        &mut self,
        tab: &CountTab<'a>,
        form: CountForm,
        pointer: &str,
        row: &'a Row,
    ) -> Value {
        let number = tab.cell(row, CountColumn::Unit(tab.form));
        self.places.insert(pointer.to_owned(), number.place);
        if let (CountForm::Plants, Some(total)) = (form, tab.total(row)) {
            return self.count(pointer, &total);
        }
        match form {
            // Its finding is that of the visit.
            CountForm::Heads if tab.has_total(row) && !tab.has_single_counts(row) => {
                vec![Value::Null; tab.counts(row).len()].into()
            }
            CountForm::Heads => {
                let cells = tab.counts(row);
                let counts = (0..).zip(&cells);
                counts
                    .map(|(bract, cell)| self.count(&format!("{pointer}/{bract}"), cell))
                    .collect()
            }
            CountForm::Plants => self.count(pointer, &tab.cell(row, CountColumn::Count)),
            CountForm::Traps => {
                let mut member = |name: &str, column| {
                    let value = self.count(&format!("{pointer}/{name}"), &tab.cell(row, column));
                    (name.to_owned(), value)
                };
                let catch = member("catch", CountColumn::Catch);
                let nights = member("nights", CountColumn::Nights);
                Map::from_iter([catch, nights]).into()
            }
        }
    }

    fn count(&mut self, pointer: &str, cell: &Placed<'_>) -> Value {
        self.places.insert(pointer.to_owned(), cell.place.clone());
        let read = if cell.is_blank() {
            Err(cell.finding(
                Code::UnitHalfFilled,
                pointer,
                "a number is expected, as in the other cells of this row: an empty cell is not 0",
            ))
        } else {
            cell.number(pointer)
        };
        read.unwrap_or_else(|finding| {
            self.findings.push(finding);
            Value::Null
        })
    }
}
