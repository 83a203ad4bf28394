//! The rows of data of a sheet and the titles above them, as the mapping says.
//!
//! Nothing is read from the cells here but the texts of titles and of rows to be left out.

use std::rc::Rc;

use crate::mapping::layout::finder::{Finder, wanted};
use crate::mapping::layout::sheets::{ChosenSheet, groups};
use crate::mapping::layout::table::{At, DataRow, Title};
use crate::mapping::names::{content, folded, is_blank, quoted};
use crate::mapping::plan::Skip;
use crate::sheet::table::Row;
use scouting::failure::Failure;

impl<'a> Finder<'a, '_> {
    /// The rows of data, in the order of the sheet.
    pub(crate) fn rows(&self, chosen: &ChosenSheet<'a>) -> Result<Vec<DataRow<'a>>, Failure> {
        let form = &self.mapping.form;
        let first = form.header_rows.last().copied().unwrap_or(0);
        let skips = self.skips()?;
        let headers = self.folded_headers();
        let place = format!("the name of the sheet {}", quoted(&self.sheet.name));
        let mut titles: Rc<Vec<Title>> = Rc::new(
            chosen
                .said
                .iter()
                .map(|(name, text)| title(name, text, &place))
                .collect(),
        );
        let mut rows = Vec::new();
        for row in &self.sheet.rows {
            let above_header = row.number <= first;
            let left_out = form.header_rows.contains(&row.number)
                || form.comment_rows.contains(&row.number)
                || row.cells.iter().all(is_blank)
                || repeats_header(row, &headers)
                || !above_header && skips.iter().any(|(place, skip)| skipped(row, *place, skip));
            if left_out {
                continue;
            }
            if let Some(said) = self.said_by_title(row) {
                titles = Rc::new(titles_after(&titles, said));
                continue;
            }
            if !above_header {
                rows.push(DataRow {
                    row,
                    titles: titles.clone(),
                    slice: None,
                });
            }
        }
        Ok(rows)
    }

    fn skips(&self) -> Result<Vec<(usize, &Skip)>, Failure> {
        self.mapping
            .skips
            .iter()
            .map(|skip| match self.find(&skip.selector)? {
                Some((At::Row(place), _)) => Ok((place, skip)),
                _ => Err(self.refused(
                    format!(
                        "there is no column {} for a [[skip]]",
                        wanted(&skip.selector)
                    ),
                    "correct the [[skip]], or leave it out",
                )),
            })
            .collect()
    }

    fn folded_headers(&self) -> Vec<Vec<String>> {
        let rows = &self.mapping.form.header_rows;
        self.sheet
            .rows
            .iter()
            .filter(|row| rows.contains(&row.number))
            .map(folded_cells)
            .collect()
    }

    /// What a title row says: all of its cells, joined by single spaces, match a [[block]].
    fn said_by_title(&self, row: &Row) -> Option<Vec<Title>> {
        let cells = row.cells.iter().filter(|cell| !is_blank(cell));
        let text = cells.map(content).collect::<Vec<String>>().join(" ");
        let pattern = self
            .mapping
            .blocks
            .iter()
            .find(|pattern| pattern.is_match(&text))?;
        let first = row
            .cells
            .iter()
            .position(|cell| !is_blank(cell))
            .unwrap_or(0);
        let place = self.places.name(&self.sheet.name, first, row.number, "");
        // A group that caught nothing says that the title before it no longer holds.
        let caught = groups(pattern, &text);
        let names = pattern.capture_names().flatten();
        Some(
            names
                .map(|name| {
                    let text = caught.iter().find(|(other, _)| other == name);
                    title(name, text.map_or("", |(_, text)| text), &place)
                })
                .collect(),
        )
    }
}

fn title(name: &str, text: &str, place: &str) -> Title {
    Title {
        name: name.to_owned(),
        text: text.to_owned(),
        place: place.to_owned(),
    }
}

fn titles_after(before: &[Title], said: Vec<Title>) -> Vec<Title> {
    let kept = before
        .iter()
        .filter(|title| said.iter().all(|new| new.name != title.name));
    kept.cloned().chain(said.clone()).collect()
}

fn folded_cells(row: &Row) -> Vec<String> {
    row.cells
        .iter()
        .map(|cell| folded(&content(cell)))
        .collect()
}

/// A header that is printed again on every page of a long sheet.
fn repeats_header(row: &Row, headers: &[Vec<String>]) -> bool {
    let might_be = headers.iter().any(|header| header.len() == row.cells.len());
    if !might_be {
        return false;
    }
    let texts = folded_cells(row);
    let filled = texts.iter().filter(|text| !text.is_empty()).count();
    filled >= 2 && headers.contains(&texts)
}

fn skipped(row: &Row, place: usize, skip: &Skip) -> bool {
    let text = row.cells.get(place).map(content).unwrap_or_default();
    skip.matches.is_match(&text)
}
