//! A table of a package: its rows with what they mean, what identifies them and what they point to, as CSV and
//! as Parquet.

use arrow::array::{Array, AsArray, RecordBatch};
use arrow::datatypes::{DataType, Float64Type};
use parquet::file::metadata::KeyValue;

use super::package_file::unmade;
use crate::shared::cautions;
use crate::shared::geo_columns::Geometries;
use crate::shared::tables::{ColumnDoc, documented, write_csv, write_documented};
use scouting::failure::Failure;
use store::stages::files::StageColumn;

/// Columns of a table that name a row of another.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct Reference {
    /// The columns here.
    pub columns: &'static [&'static str],
    /// The table there.
    pub table: &'static str,
    /// Its columns, in the same order.
    pub there: &'static [&'static str],
}

/// Where the rows are.
pub(super) enum Places {
    /// Nowhere.
    None,
    /// At points, by the columns of longitude and latitude.
    Points(&'static str, &'static str),
    /// In areas that were made beforehand.
    Areas(Geometries),
}

/// A table that a package holds.
pub struct ExportTable {
    pub(super) name: &'static str,
    /// What a row is, in a few words.
    pub(super) title: &'static str,
    /// One or two sentences.
    pub(super) about: &'static str,
    pub(super) columns: Vec<StageColumn>,
    pub(super) batch: RecordBatch,
    pub(super) key: Vec<&'static str>,
    pub(super) references: Vec<Reference>,
    pub(super) places: Places,
}

impl ExportTable {
    /// Its name, which its files bear.
    pub fn name(&self) -> &'static str {
        self.name
    }

    /// The values of its column `protocol`.
    ///
    /// # Errors
    /// A [`Failure`] if it has none.
    pub fn ids(&self) -> Result<std::collections::BTreeSet<String>, Failure> {
        (0..self.rows())
            .map(|row| self.text("protocol", row))
            .collect()
    }

    /// How many rows it has.
    pub fn rows(&self) -> usize {
        self.batch.num_rows()
    }

    /// The text of a cell, empty where there is no value.
    ///
    /// # Errors
    /// A [`Failure`] if there is no such column.
    pub(super) fn text(&self, column: &str, row: usize) -> Result<String, Failure> {
        let array = self
            .batch
            .column_by_name(column)
            .ok_or_else(|| unmade(format!("the table {} has no column {column}", self.name)))?;
        if array.is_null(row) {
            return Ok(String::new());
        }
        arrow::util::display::array_value_to_string(array, row).map_err(unmade)
    }

    fn docs(&self) -> Vec<ColumnDoc<'_>> {
        let columns = self.columns.iter();
        columns
            .map(|column| ColumnDoc {
                name: &column.name,
                description: &column.description,
                unit: column.unit.as_deref(),
            })
            .collect()
    }

    /// As CSV.
    pub(super) fn csv(&self) -> Result<Vec<u8>, Failure> {
        write_csv(&self.batch, &self.docs())
    }

    /// As Parquet; with places as GeoParquet 1.1. `notes` go with the file.
    pub(super) fn parquet(
        &self,
        invented: Option<&str>,
        notes: &[(&str, String)],
    ) -> Result<Vec<u8>, Failure> {
        let table = documented(&self.batch, &self.docs())?;
        let points;
        let geometries = match &self.places {
            Places::None => None,
            Places::Areas(areas) => Some(areas),
            Places::Points(lon, lat) => {
                points = Geometries::points(points_of(&self.batch, lon, lat));
                Some(&points)
            }
        };
        let note = |key: &str, text: String| KeyValue::new(key.to_owned(), text);
        let mut all: Vec<KeyValue> = geometries
            .iter()
            .map(|geometries| note("geo", geometries.metadata()))
            .collect();
        all.push(note("caution", cautions::IN_ONE_SENTENCE.to_owned()));
        all.extend(notes.iter().map(|(key, text)| note(key, text.clone())));
        match geometries {
            Some(geometries) => write_documented(&geometries.beside(&table)?, invented, all),
            None => write_documented(&table, invented, all),
        }
    }
}

fn points_of(batch: &RecordBatch, lon: &str, lat: &str) -> Vec<Option<(f64, f64)>> {
    let [lon, lat] = [lon, lat].map(|name| batch[name].as_primitive::<Float64Type>());
    (0..batch.num_rows())
        .map(|row| lon.is_valid(row).then(|| (lon.value(row), lat.value(row))))
        .collect()
}

/// Types as Table Schema calls them.
pub(super) fn type_word(data_type: &DataType) -> &'static str {
    match data_type {
        DataType::Boolean => "boolean",
        DataType::Date32 => "date",
        DataType::Float64 => "number",
        kind if kind.is_integer() => "integer",
        _ => "string",
    }
}
