//! A tab of a count sheet as headed columns: its rows, and the cell of each column that is known.

use serde_json::{Map, Value};

use crate::count_sheet::sheet_cells::{Placed, as_sent, holds_something, is_blank, shown, words};
use crate::sheet::grid::letters;
use crate::sheet::table::{Cell, Row, Sheet};
use scouting::failure::{Failure, Kind};
use scouting::visit::code::Code;
use scouting::visit::finding::Finding;

/// A tab whose headings were found.
pub(crate) struct HeadedTab<'a> {
    sheet: &'a Sheet,
    /// Place of the row of headings.
    header: usize,
    /// For each known column its name and its place in a row, if the tab has it.
    columns: Vec<(String, Option<usize>)>,
}

impl<'a> HeadedTab<'a> {
    /// Finds the headings: the first row with a cell that says what the first column says. `known` are
    /// names and whether the tab must have them.
    pub(crate) fn of(
        sheet: &'a Sheet,
        known: &[(String, bool)],
        file_name: &str,
    ) -> Result<HeadedTab<'a>, Failure> {
        let refused = |what: String| {
            Err(Failure::new(Kind::Submission, format!("cannot read {file_name}: {what}"))
                .at(format!("tab {}", sheet.name))
                .mend("copy the entries into a fresh count sheet (bractline sheet), whose headings nobody changed"))
        };
        let leads = |row: &Row| row.cells.iter().any(|cell| is_heading(cell, &known[0].0));
        let Some(header) = sheet.rows.iter().position(leads) else {
            return refused(format!("no row has the heading {:?}", known[0].0));
        };
        let headings = &sheet.rows[header].cells;
        let mut columns = Vec::new();
        for (name, must) in known {
            let mut places = (0..headings.len()).filter(|&at| is_heading(&headings[at], name));
            let place = places.next();
            if place.is_none() && *must {
                return refused(format!("the heading {name:?} is missing"));
            }
            if places.next().is_some() {
                return refused(format!("the heading {name:?} appears twice"));
            }
            columns.push((name.clone(), place));
        }
        Ok(HeadedTab {
            sheet,
            header,
            columns,
        })
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

    /// A finding for each cell of a row that holds something under no heading of ours.
    pub(crate) fn unknown_cells(&self, row: &Row) -> Vec<Finding> {
        let is_known = |place: &usize| self.columns.iter().any(|(_, known)| *known == Some(*place));
        (0..row.cells.len())
            .filter(|place| !is_known(place) && !is_blank(&row.cells[*place]))
            .map(|place| {
                let heading = self.sheet.rows[self.header].cells.get(place);
                let heading = heading.map_or_else(String::new, words);
                Finding::new(
                    Code::ColumnUnknown,
                    "",
                    format!(
                        "{}: {}",
                        self.place(row, place, &heading),
                        shown(&row.cells[place])
                    ),
                    "the count sheet has no such column: move it to the remarks, or clear it",
                )
            })
            .collect()
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
}
