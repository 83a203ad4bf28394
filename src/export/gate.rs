//! The gate for a package: every file judged on its finished bytes, the packed ones too.
//!
//! A table may hold the columns that its level has and no others; rows of public tables are rows of the public rows, or
//! sums of them; points are no finer than the grid and nobody's field; no text holds a private name.

use std::collections::{BTreeMap, BTreeSet};

use super::grid_rows::grid_columns;
use super::package::facts::Level;
use super::package::package_file::PackageFile;
use super::package::protocol_table::protocol_columns;
use super::weather_tables::weather_columns;
use crate::gate::judge::{Gate, MAP_PROPERTIES, stopped, unreadable};
use crate::gate::parquet_files::{Packed, read_packed};
use crate::gate::sums::PublicSums;
use crate::gate::tables::{Cells, Feature, rows_of_csv};
use disclosure::public_row::PublicRow;
use scouting::failure::Failure;
use store::stages::files::public_stages;

/// Texts of a package besides its tables.
const WORDS: [&str; 8] = [
    "README.md",
    "TERMS.md",
    "DICTIONARY.md",
    "CITATION.cff",
    "datapackage.json",
    "SHA256SUMS",
    "meta.xml",
    "eml.xml",
];
/// Tables whose rows are public rows.
const OF_ROWS: [&str; 2] = ["county_week", "elsewhere_week"];
/// The packed file, of which each part is judged.
const PACKED: &str = "dwca.zip";
/// Tables within it.
const EVENTS: [&str; 3] = ["event.csv", "occurrence.csv", "measurement.csv"];
/// Columns whose values are numbers of rows and what is made of them, or temperatures and their sums: they say nothing of a
/// visit, and one of them may look like somebody's number.
const NUMBERS: [&str; 9] = [
    "tmin_c",
    "tmax_c",
    "degree_days_c",
    "accumulated_degree_days_c",
    "row",
    "field_week",
    "eventID",
    "occurrenceID",
    "measurementID",
];
/// Columns of longitude and latitude.
const POINTS: [[&str; 2]; 2] = [
    ["cell_lon", "cell_lat"],
    ["decimalLongitude", "decimalLatitude"],
];

/// The rules for a package.
pub struct ExportGate<'a> {
    gate: &'a Gate,
    /// Columns of each table that may be there.
    tables: BTreeMap<String, BTreeSet<String>>,
    /// What the tables of the region may say.
    sums: PublicSums,
}

impl<'a> ExportGate<'a> {
    /// The rules for a package of a level, whose tables of districts and the region are made of `rows`; `gate` lets rows of counties
    /// and elsewhere through that it was given.
    ///
    /// # Errors
    /// A [`Failure`] if nothing is held back at this level, or the stages cannot be read.
    pub fn new(
        gate: &'a Gate,
        level: Level,
        rows: &[PublicRow],
        districts: &BTreeMap<String, String>,
    ) -> Result<ExportGate<'a>, Failure> {
        let mut tables = BTreeMap::new();
        let mut add =
            |name: &str, columns: BTreeSet<String>| tables.insert(name.to_owned(), columns);
        for stage in public_stages()? {
            let columns = stage.columns.into_iter().map(|column| column.name);
            add(&stage.table, columns.collect());
        }
        for (name, columns) in weather_columns()? {
            add(name, columns.into_iter().collect());
        }
        add("protocol", protocol_columns().map(str::to_owned).collect());
        match level {
            Level::Public => {}
            Level::Grid => {
                for (name, columns) in grid_columns()? {
                    add(
                        name,
                        columns.into_iter().map(|column| column.name).collect(),
                    );
                }
            }
            Level::Full => return Err(stopped("the package", "everything is in it")),
        }
        Ok(ExportGate {
            gate,
            tables,
            sums: PublicSums::of(rows, districts),
        })
    }

    /// Judges a file of the package.
    ///
    /// # Errors
    /// A [`Failure`] that names the file and the reason.
    pub fn judge(&self, file: &PackageFile) -> Result<(), Failure> {
        let name = file.name.as_str();
        if name == PACKED {
            for (part, bytes) in &file.within {
                let place = format!("{name}/{part}");
                match EVENTS.contains(&part.as_str()) {
                    true => self.judge_events(&place, bytes)?,
                    false => self.judge_text(&place, part, bytes)?,
                }
            }
            return Ok(());
        }
        let table = name
            .rsplit_once('.')
            .filter(|(stem, _)| self.tables.contains_key(*stem));
        match table {
            Some((stem, "csv")) => {
                let rows = rows_of_csv(&file.bytes).map_err(|cause| unreadable(name, cause))?;
                let rows = rows.into_iter().map(with_point);
                self.judge_table(name, stem, rows.collect())
            }
            Some((stem, "parquet")) => {
                let Packed { rows, notes } =
                    read_packed(&file.bytes).map_err(|cause| unreadable(name, cause))?;
                self.gate.judge_words(name, notes.as_bytes())?;
                self.judge_table(name, stem, rows)
            }
            _ => self.judge_text(name, name, &file.bytes),
        }
    }

    fn judge_text(&self, place: &str, name: &str, bytes: &[u8]) -> Result<(), Failure> {
        match WORDS.contains(&name) {
            true => self.gate.judge_words(place, bytes),
            false => Err(stopped(place, "it is no file of a package of this level")),
        }
    }

    fn judge_table(&self, file: &str, table: &str, rows: Vec<Feature>) -> Result<(), Failure> {
        for row in &rows {
            let checked = match OF_ROWS.contains(&table) {
                true => self.gate.judge_row(&row.cells, &MAP_PROPERTIES),
                false => self
                    .judge_columns(table, &row.cells)
                    .and_then(|()| self.sums.judge(table, &row.cells)),
            };
            checked.map_err(|why| stopped(file, &why))?;
        }
        self.judge_rows(file, &rows)
    }

    fn judge_columns(&self, table: &str, cells: &Cells) -> Result<(), String> {
        let known = &self.tables[table];
        match cells.keys().find(|name| !known.contains(*name)) {
            Some(name) => Err(format!("{name:?} is no public column of {table}")),
            None => Ok(()),
        }
    }

    /// The terms of an event are the standard's; what they hold is judged as any other text.
    fn judge_events(&self, file: &str, bytes: &[u8]) -> Result<(), Failure> {
        let rows = rows_of_csv(bytes).map_err(|cause| unreadable(file, cause))?;
        let rows: Vec<Feature> = rows.into_iter().map(with_point).collect();
        self.judge_rows(file, &rows)
    }

    /// Points and texts of rows.
    fn judge_rows(&self, file: &str, rows: &[Feature]) -> Result<(), Failure> {
        let mut points: BTreeMap<&str, Vec<(f64, f64)>> = BTreeMap::new();
        let mut texts = BTreeSet::new();
        for row in rows {
            if let Some(point) = row
                .positions
                .iter()
                .find(|point| self.gate.is_private(**point))
            {
                let why = format!("{point:?} is the point of a field that was visited");
                return Err(stopped(file, &why));
            }
            if row.is_point {
                points
                    .entry(width_of(row))
                    .or_default()
                    .extend(&row.positions);
            }
            let checked = row
                .cells
                .iter()
                .filter(|(name, _)| !NUMBERS.contains(&name.as_str()));
            texts.extend(checked.filter_map(|(_, cell)| cell.as_deref()));
        }
        // Cells of several widths may be within each other; those of one width are apart.
        for points in points.into_values() {
            let judged = self.gate.judge_points(points);
            judged.map_err(|why| stopped(file, &why))?;
        }
        let texts: Vec<&str> = texts.into_iter().collect();
        self.gate.judge_words(file, texts.join("\n").as_bytes())
    }
}

/// How wide the cell of a row is, in whatever words.
fn width_of(row: &Feature) -> &str {
    let widths = ["grid_km", "coordinateUncertaintyInMeters"];
    let width = widths
        .iter()
        .find_map(|name| row.cells.get(*name)?.as_deref());
    width.unwrap_or_default()
}

/// A row of a text file, at the point that its columns name.
fn with_point(cells: Cells) -> Feature {
    let number = |name: &str| cells.get(name)?.as_deref()?.parse().ok();
    let point = POINTS
        .iter()
        .find_map(|[lon, lat]| Some((number(lon)?, number(lat)?)));
    Feature {
        is_point: point.is_some(),
        positions: point.into_iter().collect(),
        cells,
    }
}
