//! Rows → drafts of visits: which rows belong together, and to which site, unit and bract a cell.
//!
//! Every row of data ends in exactly one record. A row whose key cannot be read is held together with
//! the rows that say the same, and one whose key is blank by itself.

use std::collections::{HashMap, HashSet};

use super::draft::{Draft, Place, Taken};
use super::member::{Level, Member};
use super::names::{content, is_blank, shown};
use super::plan::{Field, Mapping};
use super::record::record;
use crate::mapping::definition::file::{BlankKey, RowIs};
use crate::mapping::layout::table::{Column, DataRow, Table};
use crate::mapping::values::cells::Said;
use crate::mapping::values::lost_zeros::{digits_of_columns, lost_zeros};
use crate::mapping::values::numbers::Fault;
use crate::sheet::table::{Cell, TableRecord};

/// A cell after it was read.
struct ReadCell<'t> {
    column: &'t Column,
    field: &'t Field,
    /// The content as text, for keys of rows that cannot be read.
    text: String,
    taken: Taken,
}

/// The records of a sheet, in the order of their first rows.
pub(in crate::mapping) fn records(mapping: &Mapping, table: &Table<'_>) -> Vec<TableRecord> {
    let mut drafts: Vec<Draft> = Vec::new();
    let mut known: HashMap<Vec<String>, usize> = HashMap::new();
    let mut above: Vec<Option<(Cell, String)>> = vec![None; table.columns.len()];
    let digits = digits_of_columns(mapping, table);
    let mut current = None;
    let mut last_named: Option<(usize, Vec<String>)> = None;
    for (place, row) in table.rows.iter().enumerate() {
        let cells = read_row(mapping, table, row, &mut above, &digits);
        let continues = mapping.rows.blank_key == BlankKey::Continues;
        let draft = match key_of(mapping, &cells, &mapping.rows.visit_key) {
            _ if mapping.rows.row_is == RowIs::Visit => new_draft(&mut drafts, row),
            Key::Whole(key) => {
                let draft = *known
                    .entry(key.clone())
                    .or_insert_with(|| new_draft(&mut drafts, row));
                last_named = Some((draft, key));
                draft
            }
            Key::Blank if continues && current.is_some() => current.unwrap_or_default(),
            Key::Blank => {
                if let Some((owner, _)) = &last_named {
                    claim(&mut drafts[*owner], table, row, &cells);
                }
                let draft = unnamed_draft(&mut drafts, row);
                drafts[draft].names_no_visit = true;
                draft
            }
            Key::Partly(key) => {
                let owner = last_named.as_ref().filter(|(_, named)| agrees(&key, named));
                if let Some((owner, _)) = owner {
                    claim(&mut drafts[*owner], table, row, &cells);
                }
                unnamed_draft(&mut drafts, row)
            }
        };
        current = Some(draft);
        drafts[draft].rows.push(place);
        take_row(mapping, &mut drafts[draft], row, cells);
    }
    visited(drafts, table)
        .into_iter()
        .map(|draft| record(draft, mapping, table))
        .collect()
}

/// Leaves out what is no visit: a day in the header for which the rows have no count, if they have some for another.
fn visited(drafts: Vec<Draft>, table: &Table<'_>) -> Vec<Draft> {
    let is_counted = |place: &usize| {
        let row = &table.rows[*place];
        row.slice.is_none()
            || table
                .columns
                .iter()
                .any(|column| column.is_filled_slice(row))
    };
    let (counted, blank): (Vec<Draft>, Vec<Draft>) = drafts
        .into_iter()
        .partition(|draft| draft.rows.iter().any(is_counted));
    let number = |place: &usize| table.rows[*place].row.number;
    let covered: HashSet<u64> = counted
        .iter()
        .flat_map(|draft| draft.rows.iter().map(number))
        .collect();
    let lost = blank.into_iter().filter(|draft| {
        !draft
            .rows
            .iter()
            .map(number)
            .all(|row| covered.contains(&row))
    });
    let mut visited: Vec<Draft> = counted.into_iter().chain(lost).collect();
    visited.sort_by_key(|draft| draft.line);
    visited
}

fn new_draft(drafts: &mut Vec<Draft>, row: &DataRow<'_>) -> usize {
    drafts.push(Draft::new(row.row.number));
    drafts.len() - 1
}

fn unnamed_draft(drafts: &mut Vec<Draft>, row: &DataRow<'_>) -> usize {
    let draft = new_draft(drafts, row);
    drafts[draft].key_is_blank = true;
    draft
}

/// Counts in a row that names no visit may belong to the visit above it, which is then not whole.
fn claim(owner: &mut Draft, table: &Table<'_>, row: &DataRow<'_>, cells: &[ReadCell<'_>]) {
    if owner.may_go_on || !cells.iter().any(is_counted) {
        return;
    }
    owner.may_go_on = true;
    let sheet = match table.sheet {
        "" => String::new(),
        name => format!("{name}, "),
    };
    owner.indices_missing.push((
        format!("{sheet}row {}: counts that name no visit", row.row.number),
        "rows that say to which visit their counts belong; if a blank key continues the visit above, the mapping says blankKey = \"continues\"; if the row is no visit's, [[skip]] leaves it out",
    ));
}

/// Whether the parts of a key that are there are those of a whole key.
fn agrees(parts: &[Option<String>], whole: &[String]) -> bool {
    let mut pairs = parts.iter().zip(whole);
    pairs.all(|(part, whole)| part.as_ref().is_none_or(|part| part == whole))
}

fn is_counted(cell: &ReadCell<'_>) -> bool {
    cell.field.reading.member.level == Level::Count && !matches!(cell.taken.said, Ok(None))
}

fn read_row<'t>(
    mapping: &'t Mapping,
    table: &'t Table<'_>,
    row: &DataRow<'_>,
    above: &mut [Option<(Cell, String)>],
    digits: &[Option<usize>],
) -> Vec<ReadCell<'t>> {
    table
        .columns
        .iter()
        .zip(above.iter_mut().zip(digits))
        .filter(|(column, _)| column.is_of(row))
        .map(|(column, (above, digits))| {
            let field = &mapping.fields[column.field];
            let (mut cell, mut place) = row.cell(table, column);
            if field.fill_down {
                if is_blank(&cell) || is_ditto(&cell) {
                    if let Some((carried, from)) = above.clone() {
                        cell = carried;
                        place = format!("{place}, carried down from {from}");
                    }
                } else {
                    *above = Some((cell.clone(), place.clone()));
                }
            }
            let said = match lost_zeros(field, &cell, *digits) {
                Some(fault) => Err(fault),
                None => field.reading.read(&cell),
            };
            ReadCell {
                column,
                field,
                text: content(&cell),
                taken: Taken {
                    found: format!("{place}: {}", shown(&cell)),
                    place,
                    said,
                },
            }
        })
        .collect()
}

/// Marks that repeat the cell above.
pub(in crate::mapping) fn is_ditto(cell: &Cell) -> bool {
    matches!(content(cell).as_str(), "\"" | "''" | "〃" | "″" | "”" | "“")
}

/// What a row's key cells say.
enum Key {
    Whole(Vec<String>),
    Partly(Vec<Option<String>>),
    Blank,
}

fn key_of(mapping: &Mapping, cells: &[ReadCell<'_>], members: &[&'static Member]) -> Key {
    let mut key = Vec::new();
    let mut blanks = 0;
    let mut blanks_without_default = 0;
    for member in members {
        let Some(cell) = cells
            .iter()
            .find(|cell| cell.field.reading.member == *member)
        else {
            continue;
        };
        match key_text(cell) {
            Some(text) => key.push(Some(text)),
            None => {
                blanks += 1;
                let default = mapping.default_of(member).map(ToString::to_string);
                blanks_without_default += usize::from(default.is_none());
                key.push(default);
            }
        }
    }
    if !key.is_empty() && blanks == key.len() {
        Key::Blank
    } else if blanks_without_default > 0 {
        Key::Partly(key)
    } else {
        Key::Whole(key.into_iter().flatten().collect())
    }
}

/// The value that identifies, or the text of a cell that cannot be read.
fn key_text(cell: &ReadCell<'_>) -> Option<String> {
    match &cell.taken.said {
        Ok(Some(said)) => Some(said.value.to_string()),
        Ok(None) => None,
        // A ditto mark that the mapping does not explain says no more than a blank.
        Err(_) if is_ditto(&Cell::Text(cell.text.clone())) => None,
        Err(_) => Some(cell.text.clone()),
    }
}

/// Puts the cells of a row where they belong.
fn take_row(mapping: &Mapping, draft: &mut Draft, row: &DataRow<'_>, cells: Vec<ReadCell<'_>>) {
    let counts_here = cells.iter().any(is_counted);
    let by_row = format!("row {}", row.row.number);
    let of_row = |levels: &[&str]| index(&cells, levels);
    let unit = of_row(&["{head}", "{plant}", "{trap}", "{unit}"]);
    let part = of_row(&["{bract}"]);
    let site = site_of_row(mapping, &cells);
    let indices_missing: Vec<(String, &'static str)> = cells
        .iter()
        .filter(|cell| counts_here && is_index(mapping, cell))
        .filter(|cell| matches!(cell.taken.said, Ok(None)))
        .map(|cell| (cell.taken.found.clone(), cell.field.reading.member.expected))
        .collect();
    draft.indices_missing.extend(indices_missing);
    let ordinal_site = match mapping.rows.row_is {
        RowIs::Site => by_row.clone(),
        _ => "1".to_owned(),
    };
    let ordinal_unit = match mapping.rows.row_is {
        RowIs::Head | RowIs::Plant | RowIs::Trap | RowIs::Unit => by_row.clone(),
        _ => "1".to_owned(),
    };
    for cell in cells {
        let member = cell.field.reading.member;
        let keys = &cell.column.keys;
        let place = Place {
            site: keys
                .site
                .clone()
                .or(site.clone())
                .unwrap_or(ordinal_site.clone()),
            unit: keys
                .unit
                .clone()
                .or(unit.clone())
                .unwrap_or(ordinal_unit.clone()),
            part: keys.part.clone().or(part.clone()).unwrap_or("1".to_owned()),
        };
        let mut taken = cell.taken;
        if matches!(member.level, Level::Count | Level::Unit)
            && let (Ok(None), Some(default)) = (&taken.said, &cell.field.default)
        {
            taken.said = Ok(Some(Said::from(default.clone())));
        }
        draft.take(member, &place, taken);
    }
}

/// Columns that say to which site, unit and bract a row belongs.
fn is_index(mapping: &Mapping, cell: &ReadCell<'_>) -> bool {
    let member = cell.field.reading.member;
    let of_site = cell.column.keys.site.is_none()
        && (mapping.rows.site_key.contains(&member)
            || (mapping.rows.site_key.is_empty() && member.pointer == "/sites/{site}/site"));
    of_site || member.level == Level::Index
}

fn index(cells: &[ReadCell<'_>], pointers: &[&str]) -> Option<String> {
    let cell = cells
        .iter()
        .find(|cell| pointers.contains(&cell.field.reading.member.pointer))?;
    match &cell.taken.said {
        Ok(Some(said)) => Some(
            said.value
                .as_str()
                .map_or_else(|| said.value.to_string(), str::to_owned),
        ),
        Ok(None) => None,
        Err(Fault { .. }) => Some(cell.text.clone()),
    }
}

/// The site that the row's own cells name.
fn site_of_row(mapping: &Mapping, cells: &[ReadCell<'_>]) -> Option<String> {
    let parts: Vec<String> = cells
        .iter()
        .filter(|cell| is_index(mapping, cell) && cell.field.reading.member.level == Level::Site)
        .filter_map(key_text)
        .collect();
    (!parts.is_empty()).then(|| parts.join(" / "))
}
