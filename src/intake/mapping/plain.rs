//! The plain layout: our own column names, one row a unit, recognized by its header and read without
//! a mapping file. Count sheets, held exports and round trips use it; a visit that is written so
//! comes back the same.
//!
//! How its texts are marked so that they come back as they were is [`super::plain_text`]'s.

use std::sync::LazyLock;

use serde_json::Value;

use super::member::{Kind, Member, Quantity};
use super::names::{content, is_blank};
use super::plain_text::marked;
use super::plan::Mapping;
use crate::sheet::table::{Cell, Sheet, TableRecord};
use scouting::failure::Failure;
use scouting::visit::heads::Heads;
use scouting::visit::members::{Column, UNIT_COLUMNS, VISIT_COLUMNS};
use scouting::visit::record::{COUNTS_OF_HEAD_MAX, Site, Visit};

const LAYOUT: &str = include_str!("plain.toml");
const NAME: &str = "the plain layout";
/// The columns of the counts of heads, as many as the longest head has.
const COUNTS_OF_HEADS: &str = r#"
[[field]]
namePattern = "^count_(?<bract>[0-9]+)$"
to = "/sites/{site}/heads/{head}/{bract}"
optional = true
"#;
/// Rows that are searched for the header: a sheet may say what it is above it.
const HEADER_SEARCH_ROWS: usize = 20;
/// Columns that our own exports add and that no member takes begin so.
const REMARK_PREFIX: &str = "held_";
const COUNT_PREFIX: &str = "count_";

/// Without these a sheet is no plain layout.
const TELLING_COLUMNS: [&str; 6] = [
    "visit_id",
    "observed_on",
    "field_id",
    "protocol",
    "site",
    "unit",
];

static MAPPING: LazyLock<Mapping> = LazyLock::new(|| {
    let mut layout = LAYOUT.to_owned();
    layout.extend(plain_columns().map(|(column, member)| field(column, member)));
    layout += COUNTS_OF_HEADS;
    let mut mapping =
        Mapping::read(&layout, NAME).expect("our own layout is a mapping (unit test)");
    mapping.plain = true;
    for field in &mut mapping.fields {
        field.reading.verbatim = true;
    }
    mapping
});

/// The columns but those of the counts of bracts, in order.
fn plain_columns() -> impl Iterator<Item = &'static (&'static Column, &'static Member)> {
    VISIT_COLUMNS.iter().chain(&UNIT_COLUMNS)
}

/// The entry of a column in the layout's mapping.
fn field(column: &Column, member: &Member) -> String {
    let (name, pointer) = (column.name, member.pointer);
    let mut field = format!("\n[[field]]\nname = {name:?}\nto = {pointer:?}\n");
    if column.optional {
        field += "optional = true\n";
    }
    if member.kind == Kind::Number(Quantity::Area) {
        field += "unit = \"ha\"\n";
    }
    if pointer == "/revision" {
        field += "default = 1\n";
    }
    field
}

/// Records of sheets in the plain layout; `None` if no sheet is in it.
///
/// A sheet is if one of its first rows holds our column names and nothing else but columns that begin
/// with `held_`. Other sheets of the file, such as instructions, are passed over. In the rows, a visit
/// that is not named again continues.
///
/// # Errors
/// [`Failure`] if a column is missing that every record needs.
pub fn plain_records(
    sheets: &[Sheet],
    file_name: &str,
) -> Option<Result<Vec<TableRecord>, Failure>> {
    let plain: Vec<(&Sheet, u64)> = sheets
        .iter()
        .filter_map(|sheet| Some((sheet, header_row(sheet)?)))
        .collect();
    if plain.is_empty() {
        return None;
    }
    let records: Result<Vec<Vec<TableRecord>>, Failure> = plain
        .into_iter()
        .map(|(sheet, header)| {
            let mut mapping = MAPPING.clone();
            mapping.form.header_rows = vec![header];
            mapping.records(
                std::slice::from_ref(&without_printed_rows(sheet, header)),
                file_name,
            )
        })
        .collect();
    Some(records.map(|records| records.concat()))
}

/// The number of the row that holds our header.
fn header_row(sheet: &Sheet) -> Option<u64> {
    sheet
        .rows
        .iter()
        .take(HEADER_SEARCH_ROWS)
        .find(|row| {
            let names: Vec<String> = row.cells.iter().map(content).collect();
            let filled: Vec<&str> = names
                .iter()
                .map(String::as_str)
                .filter(|name| !name.is_empty())
                .collect();
            TELLING_COLUMNS.iter().all(|name| filled.contains(name))
                && filled.iter().all(|name| is_plain_column(name))
        })
        .map(|row| row.number)
}

/// Whether a column is one of the plain layout, or one that our exports add.
pub(crate) fn is_plain_column(name: &str) -> bool {
    let is_count = name.strip_prefix(COUNT_PREFIX).is_some_and(|number| {
        number
            .parse()
            .is_ok_and(|number: usize| (1..=COUNTS_OF_HEAD_MAX).contains(&number))
    });
    is_count
        || plain_columns().any(|(column, _)| column.name == name)
        || name.starts_with(REMARK_PREFIX)
}

/// Leaves out rows of which only the site and the unit are filled: a count sheet prints those, and
/// a scout who examined less than there is room for leaves them.
fn without_printed_rows(sheet: &Sheet, header: u64) -> Sheet {
    const PRINTED: [&str; 5] = ["site", "side", "site_lon", "site_lat", "unit"];
    let names: Vec<String> = sheet
        .rows
        .iter()
        .find(|row| row.number == header)
        .map(|row| row.cells.iter().map(content).collect())
        .unwrap_or_default();
    let is_printed = |place: usize| {
        names
            .get(place)
            .is_some_and(|name| PRINTED.contains(&name.as_str()) || name.starts_with(REMARK_PREFIX))
    };
    let mut kept = sheet.clone();
    kept.rows.retain(|row| {
        row.number <= header
            || row
                .cells
                .iter()
                .enumerate()
                .any(|(place, cell)| !is_blank(cell) && !is_printed(place))
    });
    kept
}

/// The header of the plain layout, for heads of at most `bracts` counts.
pub fn plain_header(bracts: usize) -> Vec<String> {
    let counts = (1..=bracts).map(|number| format!("{COUNT_PREFIX}{number}"));
    plain_columns()
        .map(|(column, _)| column.name.to_owned())
        .chain(counts)
        .collect()
}

/// The rows of a visit, one a unit, under the header of [`plain_header`].
///
/// Days and times are text as the record has them, so that no spreadsheet turns them; numbers are
/// numbers. An outline of many corners may be longer than the 32,767 characters that a cell of a
/// workbook holds; in a text file it is not.
pub fn plain_rows(visit: &Visit) -> Vec<Vec<Cell>> {
    let of_visit = visit_cells(visit);
    let mut rows = Vec::new();
    for site in &visit.sites {
        let of_site = site_cells(site);
        for (place, unit) in unit_cells(site).into_iter().enumerate() {
            let number = Cell::Number((place + 1) as f64);
            rows.push([&of_visit[..], &of_site, &[number], &unit].concat());
        }
    }
    rows
}

fn visit_cells(visit: &Visit) -> Vec<Cell> {
    let record = serde_json::to_value(visit).expect("a visit is plain JSON");
    let of_member = |(_, member): &(_, &Member)| record.pointer(member.pointer);
    let values = VISIT_COLUMNS.iter().map(of_member);
    values
        .map(|value| value.map_or(Cell::Empty, cell))
        .collect()
}

fn cell(value: &Value) -> Cell {
    match value {
        Value::String(string) => text(string),
        Value::Number(number) => number.as_f64().map_or(Cell::Empty, Cell::Number),
        Value::Bool(truth) => Cell::Truth(*truth),
        Value::Object(_) | Value::Array(_) => Cell::Text(value.to_string()),
        Value::Null => Cell::Empty,
    }
}

fn site_cells(site: &Site) -> Vec<Cell> {
    vec![
        Cell::Number(f64::from(site.site)),
        optional_text(site.side.as_deref()),
        site.lon.map_or(Cell::Empty, Cell::Number),
        site.lat.map_or(Cell::Empty, Cell::Number),
    ]
}

/// `count`, `catch`, `nights` and the counts of bracts, unit by unit.
fn unit_cells(site: &Site) -> Vec<Vec<Cell>> {
    let number = |count: u32| Cell::Number(f64::from(count));
    let heads = site.heads.iter().flat_map(Heads::iter).map(|head| {
        let bracts = head.iter().map(|count| number(count.0));
        [Cell::Empty, Cell::Empty, Cell::Empty]
            .into_iter()
            .chain(bracts)
            .collect()
    });
    let plants = site
        .plants
        .iter()
        .flatten()
        .map(|count| vec![number(count.0)]);
    let traps = site
        .traps
        .iter()
        .flatten()
        .map(|trap| vec![Cell::Empty, number(trap.catch.0), number(trap.nights)]);
    heads.chain(plants).chain(traps).collect()
}

fn text(text: &str) -> Cell {
    Cell::Text(marked(text))
}

fn optional_text(value: Option<&str>) -> Cell {
    value.map_or(Cell::Empty, text)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::mapping::plan::Selector;

    #[test]
    fn the_layout_maps_each_of_its_columns() {
        assert!(plain_header(6).iter().all(|name| is_plain_column(name)));
        let mapped: Vec<&str> = MAPPING
            .fields
            .iter()
            .filter_map(|field| match &field.selector {
                Selector::Names(names) => Some(names[0].as_str()),
                _ => None,
            })
            .collect();
        let mut columns: Vec<&str> = plain_columns().map(|(column, _)| column.name).collect();
        columns.sort_unstable();
        let mut sorted = mapped.clone();
        sorted.sort_unstable();
        assert_eq!(sorted, columns);
    }
}
