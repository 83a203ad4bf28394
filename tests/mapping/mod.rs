//! Mapping files and the plain layout: three worked mappings give the same visits, each kind of cell
//! gives its value or its finding, wrong mappings and sheets are refused with place and remedy, the
//! published schema takes what the program takes, and a visit survives the plain layout.
//! Not here: reading files into sheets.

mod cells;
mod draft_grids;
mod draft_sheets;
mod draft_visits;
mod drafts;
mod headers;
mod ids;
mod layouts;
mod meaning;
mod plain;
pub mod random_visits;
mod refused;
mod rows;
mod worked;

use intake::mapping::{Mapping, plain_header, plain_records, plain_rows};
use intake::sheet::table::{Cell, Row, Sheet, TableRecord};
use scouting::visit::count::Count;
use scouting::visit::finding::Finding;
use scouting::visit::heads::Heads;
use scouting::visit::record::Visit;
use serde_json::Value;

use crate::support::mapping::BASE;

fn text(text: &str) -> Cell {
    Cell::Text(text.to_owned())
}

fn base_header() -> Vec<Cell> {
    ["Id", "Field", "Date", "Lon", "Lat", "Area", "Price", "Eggs"]
        .map(text)
        .to_vec()
}

fn base_row() -> Vec<Cell> {
    [
        "v-1",
        "F-9001",
        "2026-07-21",
        "-100.5",
        "45.25",
        "62.5",
        "0.16",
        "3",
    ]
    .map(text)
    .to_vec()
}

fn sheet(name: &str, rows: Vec<Vec<Cell>>) -> Sheet {
    let numbered = rows.into_iter().zip(1..);
    Sheet {
        name: name.to_owned(),
        rows: numbered
            .map(|(cells, number)| Row { number, cells })
            .collect(),
        lists: None,
    }
}

fn base_sheet(bend: impl FnOnce(&mut Vec<Vec<Cell>>)) -> Sheet {
    let mut rows = vec![base_header(), base_row()];
    bend(&mut rows);
    sheet("Visits", rows)
}

fn mapping(text: &str) -> Mapping {
    Mapping::read(text, "a.toml").unwrap_or_else(|failure| panic!("{failure}\n{text}"))
}

fn records(mapping_text: &str, sheet: Sheet) -> Vec<TableRecord> {
    mapping(mapping_text)
        .records(&[sheet], "a.xlsx")
        .unwrap_or_else(|failure| panic!("{failure}"))
}

fn document(record: &TableRecord) -> Value {
    let document = record.document.clone();
    document.unwrap_or_else(|findings| panic!("{findings:#?}"))
}

fn findings(record: &TableRecord) -> &[Finding] {
    record
        .document
        .as_ref()
        .expect_err("the record has findings")
}

/// The base mapping with lines added to one of its fields.
fn with(field: &str, lines: &str) -> String {
    let marker = format!("name = \"{field}\"\n");
    assert!(BASE.contains(&marker));
    BASE.replace(&marker, &format!("{marker}{lines}\n"))
}

fn plain_sheet(visits: &[Visit]) -> Sheet {
    let bracts = visits
        .iter()
        .flat_map(|visit| &visit.sites)
        .flat_map(|site| site.heads.iter().flat_map(Heads::iter))
        .map(<[Count]>::len)
        .max()
        .unwrap_or(6);
    let header = plain_header(bracts).iter().map(|name| text(name)).collect();
    let rows = visits.iter().flat_map(plain_rows);
    sheet("", std::iter::once(header).chain(rows).collect())
}

fn plain(sheets: &[Sheet]) -> Vec<TableRecord> {
    plain_records(sheets, "a.csv")
        .expect("the plain layout is recognized")
        .unwrap_or_else(|failure| panic!("{failure}"))
}
