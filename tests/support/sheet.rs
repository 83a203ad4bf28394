//! Count sheets of protocols of every kind of count, written and read again.

use std::io::Cursor;
use std::path::Path;

use bractline::count_sheet::words::SheetOptions;
use bractline::shared::shown_numbers::Units;
use calamine::{Data, Reader, Xlsx};
use intake::sheet::table::{Cell, Row, Sheet};
use jiff::civil::{Date, date};
use scouting::protocol::catalogue::{Catalogue, Protocol};

/// Visits laid out in the tests' sheets.
pub const VISITS: usize = 3;

pub fn bsm_eggs_text() -> String {
    std::fs::read_to_string("pipeline/protocols/bsm-eggs.toml").expect("the protocol's file")
}

/// A protocol for the test, of other counts in the interior; its title would be a formula and a header's code.
pub fn other_protocol(id: &str, form: &str, units: usize, sites: usize) -> Protocol {
    let text = bsm_eggs_text()
        .replace("layout = \"edge\"", "layout = \"interior\"")
        .replace("form = \"heads\"", &format!("form = \"{form}\""))
        .replace("counts_per_unit = 6\n", "")
        .replace("unit_totals = true\n", "")
        .replace("units_per_site = 5", &format!("units_per_site = {units}"))
        .replace("sites_min = 4", &format!("sites_min = {sites}"))
        .replace(
            "title = \"Banded sunflower moth, eggs on bracts\"",
            "title = \"=Invented & <b>only</b> for a test\"",
        );
    Protocol::read(
        &text,
        Path::new(&format!("{id}.toml")),
        store::stages::expression::plan,
    )
    .expect("a good protocol")
}

pub fn bsm_eggs() -> Protocol {
    let catalogue = Catalogue::read(None, store::stages::expression::plan).expect("the catalog");
    catalogue.protocol("bsm-eggs").expect("bsm-eggs").clone()
}

pub fn protocols() -> [Protocol; 3] {
    [
        bsm_eggs(),
        other_protocol("test-plants", "plants", 12, 2),
        other_protocol("test-traps", "traps", 2, 1),
    ]
}

pub fn options() -> SheetOptions {
    SheetOptions {
        visits: VISITS,
        sites: None,
        totals_only: false,
        units: Units::Us,
        season: (date(2026, 6, 1), date(2026, 9, 30)),
        program: "bractline test".to_owned(),
    }
}

/// The tabs of a workbook.
pub fn sheets(bytes: &[u8]) -> Vec<Sheet> {
    let mut workbook = Xlsx::new(Cursor::new(bytes)).expect("a workbook");
    let names = workbook.sheet_names();
    names
        .into_iter()
        .map(|name| {
            let range = workbook.worksheet_range(&name).expect("a tab");
            let (above, left) = range.start().unwrap_or_default();
            let empty = (1..=u64::from(above)).map(|number| row(number, &[]));
            let rows = (u64::from(above) + 1..).zip(range.rows());
            let rows = rows.map(|(number, cells)| {
                let left = vec![Data::Empty; left as usize];
                row(number, &[&left, cells].concat())
            });
            Sheet {
                name,
                rows: empty.chain(rows).collect(),
                lists: None,
            }
        })
        .collect()
}

pub fn row(number: u64, cells: &[Data]) -> Row {
    let mut cells: Vec<Cell> = cells.iter().map(cell).collect();
    while cells.last() == Some(&Cell::Empty) {
        cells.pop();
    }
    Row { number, cells }
}

pub fn cell(data: &Data) -> Cell {
    match data {
        Data::Empty => Cell::Empty,
        Data::String(text) => Cell::Text(text.clone()),
        Data::Int(number) => Cell::Number(*number as f64),
        Data::Float(number) => Cell::Number(*number),
        Data::Bool(truth) => Cell::Truth(*truth),
        Data::DateTime(moment) => {
            let (year, month, day, hour, minute, second, _) = moment.to_ymd_hms_milli();
            let day = Date::new(year as i16, month as i8, day as i8).expect("a day");
            if moment.as_f64().fract() == 0.0 {
                Cell::Date(day)
            } else {
                Cell::Moment(day.at(hour as i8, minute as i8, second as i8, 0))
            }
        }
        other => Cell::Broken(other.to_string()),
    }
}
