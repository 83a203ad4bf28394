//! A sheet with further columns of the same things, as fields in one tab and counts in another.
//!
//! A row of counts finds its row there by a key that both sheets have.

use std::collections::HashMap;

use crate::mapping::names::{cell_place, content, folded, is_blank, letters, quoted, shown};
use crate::mapping::plan::Join;
use crate::sheet::table::{Cell, Row, Sheet};
use scouting::failure::{Failure, Kind};

/// A joined sheet, with its rows by the key.
pub(in crate::mapping) struct JoinedSheet<'a> {
    sheet: &'a Sheet,
    header: Vec<String>,
    folded_header: Vec<String>,
    /// The column of the key in this sheet.
    key: usize,
    /// The column of the key in the sheet of the rows.
    key_of_rows: usize,
    rows: HashMap<String, &'a Row>,
}

impl<'a> JoinedSheet<'a> {
    /// Finds a joined sheet among those of a file, and the column of its key in the header of the sheet of the rows.
    ///
    /// # Errors
    /// A [`Failure`] if there is no such sheet or column, or a key is there twice.
    pub(in crate::mapping) fn of(
        join: &Join,
        sheets: &'a [Sheet],
        header_of_rows: &[String],
        file_name: &str,
    ) -> Result<JoinedSheet<'a>, Failure> {
        let refused = |what: String, help: &str| {
            Failure::new(Kind::Submission, format!("cannot load {file_name}: {what}")).mend(help)
        };
        let wanted = folded(&join.sheet);
        let Some(sheet) = sheets.iter().find(|sheet| folded(&sheet.name) == wanted) else {
            let names: Vec<String> = sheets.iter().map(|sheet| quoted(&sheet.name)).collect();
            return Err(refused(
                format!(
                    "there is no sheet {} for a [[join]], among {}",
                    quoted(&join.sheet),
                    names.join(", ")
                ),
                "correct sheetName of the [[join]]",
            ));
        };
        let row = sheet.rows.iter().find(|row| row.number == join.header_row);
        let header: Vec<String> =
            row.map_or_else(Vec::new, |row| row.cells.iter().map(content).collect());
        let folded_header: Vec<String> = header.iter().map(|text| folded(text)).collect();
        let keys: Vec<String> = join.key.iter().map(|name| folded(name)).collect();
        let place_of = |header: &mut dyn Iterator<Item = String>| {
            header
                .enumerate()
                .find(|(_, text)| keys.contains(text))
                .map(|(place, _)| place)
        };
        let key = place_of(&mut folded_header.iter().cloned());
        let key_of_rows = place_of(&mut header_of_rows.iter().cloned());
        let (Some(key), Some(key_of_rows)) = (key, key_of_rows) else {
            let name = quoted(&join.key.join(" or "));
            return Err(refused(
                format!(
                    "the sheet of the rows and the sheet {} have no column {name} in common",
                    quoted(&sheet.name)
                ),
                "correct name of the [[join]]: the header of the key, several if the sheets call it differently",
            ));
        };
        let mut rows: HashMap<String, &Row> = HashMap::new();
        for row in sheet.rows.iter().filter(|row| row.number > join.header_row) {
            let Some(cell) = row.cells.get(key).filter(|cell| !is_blank(cell)) else {
                if row.cells.iter().all(is_blank) {
                    continue;
                }
                return Err(refused(
                    format!(
                        "row {} of the sheet {} names no {}",
                        row.number,
                        quoted(&sheet.name),
                        quoted(&header[key])
                    ),
                    "give it its key, or delete what is in the row",
                ));
            };
            if let Some(other) = rows.insert(folded(&content(cell)), row) {
                return Err(refused(
                    format!(
                        "two rows of the sheet {} are for {}: {} and {}",
                        quoted(&sheet.name),
                        shown(cell),
                        other.number,
                        row.number
                    ),
                    "keep one row for each key",
                ));
            }
        }
        Ok(JoinedSheet {
            sheet,
            header,
            folded_header,
            key,
            key_of_rows,
            rows,
        })
    }

    /// The cell of a column in the row that belongs to a row of the other sheet, and its place.
    pub(in crate::mapping) fn cell(&self, row: &Row, place: usize) -> (Cell, String) {
        let key = row.cells.get(self.key_of_rows).unwrap_or(&Cell::Empty);
        let (sheet, header) = (&self.sheet.name, &self.header[place]);
        match self.rows.get(&folded(&content(key))) {
            Some(found) => (
                found.cells.get(place).cloned().unwrap_or(Cell::Empty),
                cell_place(sheet, place, found.number, header),
            ),
            None => (
                Cell::Empty,
                format!(
                    "sheet {}, no row for {} ({header})",
                    quoted(sheet),
                    shown(key)
                ),
            ),
        }
    }

    /// The name of a column.
    pub(in crate::mapping) fn column(&self, place: usize) -> String {
        format!("{}!{}", self.sheet.name, letters(place))
    }

    /// The columns of some names.
    pub(in crate::mapping) fn places(&self, folded_names: &[String]) -> Vec<(usize, &str)> {
        let places = self.folded_header.iter().enumerate();
        places
            .filter(|(place, name)| *place != self.key && folded_names.contains(name))
            .map(|(place, _)| (place, self.header[place].as_str()))
            .collect()
    }

    /// Columns with data that nothing takes, as a message shows them: neither the key nor one that `is_taken`, which
    /// gets the column and its header.
    pub(in crate::mapping) fn left_over(
        &self,
        is_taken: impl Fn(usize, &str) -> bool,
    ) -> Vec<String> {
        let mut found = Vec::new();
        for (place, header) in self.header.iter().enumerate() {
            if place == self.key || is_taken(place, header) {
                continue;
            }
            let has_data = |row: &&&Row| row.cells.get(place).is_some_and(|cell| !is_blank(cell));
            let rows = self.rows.values().filter(has_data);
            if let Some(row) = rows.min_by_key(|row| row.number) {
                let at = cell_place(&self.sheet.name, place, row.number, "");
                found.push(format!(
                    "{} ({at}: {})",
                    quoted(header),
                    shown(&row.cells[place])
                ));
            }
        }
        found
    }
}
