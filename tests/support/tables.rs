//! Rows and columns of tables.

use std::collections::BTreeMap;

use bractline::shared::tables::ColumnDoc;
use store::stages::files::StageColumn;

/// A row of a table: its cells by the names of their columns.
pub type Row = BTreeMap<String, String>;

/// The rows of a CSV file.
pub fn csv_rows(bytes: &[u8]) -> Vec<Row> {
    let mut reader = csv::Reader::from_reader(bytes);
    let rows = reader.deserialize().map(|row| row.expect("a row"));
    rows.collect()
}

/// What the columns of a table mean.
pub fn docs(columns: &[StageColumn]) -> Vec<ColumnDoc<'_>> {
    let columns = columns.iter().map(|column| ColumnDoc {
        name: &column.name,
        description: &column.description,
        unit: column.unit.as_deref(),
    });
    columns.collect()
}

/// Columns of a map that say of which county and week a row is; the figures are the others.
pub const IDENTITY: [&str; 8] = [
    "county_id",
    "county_name",
    "season",
    "iso_week",
    "start",
    "end",
    "protocol",
    "status",
];

/// What the GeoJSON has besides for viewers without a style.
pub const LOOK: [&str; 7] = [
    "class",
    "title",
    "description",
    "fill",
    "fill-opacity",
    "stroke",
    "stroke-width",
];
