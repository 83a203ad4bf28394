//! A tab of a count sheet as headed columns: its rows, and the cell of each column that is known.

use serde_json::{Map, Value};

use crate::count_sheet::sheet_cells::{Placed, as_sent, holds_something, is_blank, shown, words};
use crate::read::not_read::ColumnNotRead;
use crate::sheet::grid::letters;
use crate::sheet::table::{Cell, Row, Sheet};
use scouting::failure::{Failure, Kind};
use scouting::visit::code::Code;
use scouting::visit::finding::Finding;

/// A column that a tab may have.
pub(crate) struct Known {
    /// What its heading begins with.
    pub(crate) name: String,
    /// What a sheet prints in brackets behind it.
    pub(crate) unit: &'static str,
    /// How sure it is to be there, and by what it is known.
    pub(crate) presence: Presence,
}

/// How sure a column is to be there, and by what it is known.
#[derive(Clone, Copy, PartialEq, Eq)]
pub(crate) enum Presence {
    /// Every sheet has it, by its name.
    Always,
    /// Some sheets have it, by its name.
    Sometimes,
    /// Some sheets have it, by its name with the unit: people give the name alone to columns of their own.
    SometimesWithUnit,
}

/// A tab whose headings were found.
pub(crate) struct HeadedTab<'a> {
    sheet: &'a Sheet,
    /// Place of the row of headings.
    header: usize,
    /// For each known column its name and its place in a row, if the tab has it.
    columns: Vec<(String, Option<usize>)>,
}

impl<'a> HeadedTab<'a> {
    /// Finds the headings: the first row with a cell that says what the first column says.
    pub(crate) fn of(
        sheet: &'a Sheet,
        known: &[Known],
        file_name: &str,
    ) -> Result<HeadedTab<'a>, Failure> {
        let refused = |what: String| {
            Err(Failure::new(Kind::Submission, format!("cannot read {file_name}: {what}"))
                .at(format!("tab {}", sheet.name))
                .mend("copy the entries into a fresh count sheet (bractline sheet), whose headings nobody changed"))
        };
        let leads = |row: &Row| {
            row.cells
                .iter()
                .any(|cell| is_heading(cell, &known[0].name))
        };
        let Some(header) = sheet.rows.iter().position(leads) else {
            return refused(format!("no row has the heading {:?}", known[0].name));
        };
        let headings = &sheet.rows[header].cells;
        let mut columns: Vec<(String, Option<usize>)> = Vec::new();
        let mut lost = None;
        for column in known {
            let Ok(place) = place_of(column, headings) else {
                return refused(format!("the heading {:?} appears twice", column.name));
            };
            if place.is_none() && column.presence == Presence::Always {
                lost.get_or_insert(&column.name);
            }
            columns.push((column.name.clone(), place));
        }
        let tab = HeadedTab {
            sheet,
            header,
            columns,
        };
        let Some(lost) = lost else {
            return Ok(tab);
        };
        let own: Vec<String> = tab
            .own_places()
            .map(|place| format!("{:?}", words(&headings[place])))
            .collect();
        let others = match own.is_empty() {
            true => String::new(),
            false => format!("; it has {}, which it was not made with", own.join(", ")),
        };
        refused(format!("the heading {lost:?} is missing{others}"))
    }

    /// Its name.
    pub(crate) fn name(&self) -> &'a str {
        &self.sheet.name
    }

    /// The rows under the headings.
    pub(crate) fn rows(&self) -> &'a [Row] {
        &self.sheet.rows[self.header + 1..]
    }

    /// The rows above the headings that hold something.
    pub(crate) fn rows_above(&self) -> Vec<&'a Row> {
        let above = &self.sheet.rows[..self.header];
        above.iter().filter(|row| holds_something(row)).collect()
    }

    /// A row's cell in the known column of this place.
    pub(crate) fn cell(&self, row: &'a Row, known: usize) -> Placed<'a> {
        let (name, place) = &self.columns[known];
        let cell = place.and_then(|place| row.cells.get(place));
        Placed {
            cell: cell.unwrap_or(&Cell::Empty),
            place: place.map_or_else(
                || format!("{}, row {} ({name})", self.sheet.name, row.number),
                |place| self.place(row, place, name),
            ),
        }
    }

    /// A finding for each cell of a row that holds something under no heading at all.
    pub(crate) fn unknown_cells(&self, row: &Row) -> Vec<Finding> {
        (0..row.cells.len())
            .filter(|place| !self.is_known(*place) && !is_blank(&row.cells[*place]))
            .filter(|place| self.heading(*place).is_empty())
            .map(|place| {
                Finding::new(
                    Code::ColumnUnknown,
                    "",
                    format!("{}: {}", self.place(row, place, ""), shown(&row.cells[place])),
                    "the count sheet has no such column: move it to the remarks, give the column a heading of your own, or clear it",
                )
            })
            .collect()
    }

    /// Columns with data under a heading that is none of ours.
    pub(crate) fn own_columns(&self) -> Vec<ColumnNotRead> {
        let has_data = |place: &usize| {
            let mut cells = self.rows().iter().filter_map(|row| row.cells.get(*place));
            cells.any(|cell| !is_blank(cell))
        };
        self.own_places()
            .filter(has_data)
            .map(|place| ColumnNotRead {
                sheet: self.sheet.name.clone(),
                column: letters(place),
                heading: self.heading(place),
            })
            .collect()
    }

    /// What a known column says in brackets behind its name, if it says something, and the cell of the heading.
    pub(crate) fn bracket(&self, known: usize) -> Option<(String, String)> {
        let (name, place) = &self.columns[known];
        let place = (*place)?;
        let heading = self.heading(place);
        let bracket = heading.get(name.len()..)?.trim();
        let bracket = bracket.strip_prefix('(')?.strip_suffix(')')?.trim();
        let cell = self.place(&self.sheet.rows[self.header], place, &heading);
        (!bracket.is_empty()).then(|| (bracket.to_owned(), cell))
    }

    fn own_places(&self) -> impl Iterator<Item = usize> {
        let headings = 0..self.sheet.rows[self.header].cells.len();
        headings.filter(|place| !self.is_known(*place) && !self.heading(*place).is_empty())
    }

    fn is_known(&self, place: usize) -> bool {
        self.columns.iter().any(|(_, known)| *known == Some(place))
    }

    fn heading(&self, place: usize) -> String {
        let heading = self.sheet.rows[self.header].cells.get(place);
        heading.map_or_else(String::new, words)
    }

    /// The tab's name, its headings and these rows, as sent.
    pub(crate) fn as_sent(&self, rows: &[&Row]) -> Map<String, Value> {
        as_sent(&self.sheet.name, &self.sheet.rows[self.header].cells, rows)
    }

    fn place(&self, row: &Row, column: usize, name: &str) -> String {
        let place = format!("{}!{}{}", self.sheet.name, letters(column), row.number);
        if name.is_empty() {
            place
        } else {
            format!("{place} ({name})")
        }
    }
}

/// The place of a column. Of two with its name, the one with the printed unit is ours.
fn place_of(column: &Known, headings: &[Cell]) -> Result<Option<usize>, ()> {
    let named = (0..headings.len()).filter(|at| is_heading(&headings[*at], &column.name));
    let named: Vec<usize> = named.collect();
    let printed = format!("{} ({})", column.name, column.unit);
    let is_printed = |at: &&usize| words(&headings[**at]).eq_ignore_ascii_case(&printed);
    let as_printed: Vec<usize> = named.iter().filter(is_printed).copied().collect();
    match (named.as_slice(), as_printed.as_slice()) {
        (_, [one]) => Ok(Some(*one)),
        (_, []) if column.presence == Presence::SometimesWithUnit => Ok(None),
        ([], _) => Ok(None),
        ([one], _) => Ok(Some(*one)),
        _ => Err(()),
    }
}

/// A heading is a column's name, alone or followed by something in brackets.
fn is_heading(cell: &Cell, name: &str) -> bool {
    let words = words(cell);
    let Some(rest) = words
        .get(..name.len())
        .filter(|start| start.eq_ignore_ascii_case(name))
        .map(|_| words[name.len()..].trim_start())
    else {
        return false;
    };
    rest.is_empty() || (rest.starts_with('(') && rest.ends_with(')'))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn columns_have_the_letters_that_a_spreadsheet_shows() {
        let shown = [0, 25, 26, 51, 52, 701, 702, 16_383].map(letters);
        assert_eq!(shown, ["A", "Z", "AA", "AZ", "BA", "ZZ", "AAA", "XFD"]);
    }

    #[test]
    fn a_heading_is_known_with_and_without_its_unit() {
        let is = |text: &str, name| is_heading(&Cell::Text(text.to_owned()), name);
        assert!(is("Area\n(ha)", "Area") && is(" area ", "Area") && is("Cost per (x)", "Cost per"));
        assert!(!is("Area of the farm", "Area") && !is("Are", "Area") && !is("Ärea", "Area"));
        assert!(!is("Plants per (acre or ha)", "Plants"));
    }

    #[test]
    fn of_two_columns_with_one_name_the_printed_one_is_ours() {
        let known = |presence| Known {
            name: "Total".to_owned(),
            unit: "in place of bracts",
            presence,
        };
        let place = |headings: &[&str], presence| {
            let headings: Vec<Cell> = headings
                .iter()
                .map(|text| Cell::Text((*text).to_owned()))
                .collect();
            place_of(&known(presence), &headings)
        };
        let printed = "Total\n(in place of bracts)";
        assert_eq!(place(&["Total", printed], Presence::Always), Ok(Some(1)));
        assert_eq!(place(&["Total"], Presence::SometimesWithUnit), Ok(None));
        assert_eq!(place(&["Total"], Presence::Sometimes), Ok(Some(0)));
        assert_eq!(place(&["Total", "Total"], Presence::Always), Err(()));
    }
}
