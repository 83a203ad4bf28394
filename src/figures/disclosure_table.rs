//! The private table `disclosure.csv`: what became of each county and week in public, and why.

use std::sync::Arc;

use arrow::array::{ArrayRef, Int32Array, Int64Array, RecordBatch, StringArray};

use crate::shared::tables::{ColumnDoc, write_csv};
use scouting::failure::{Failure, Kind};
use store::public::public_rows::CountyOutcome;
use store::stages::rollup::Period;

/// Its columns.
const COLUMNS: [(&str, &str); 9] = [
    ("county_id", "id of the county"),
    ("season", "ISO week-year"),
    ("iso_week", "ISO 8601 week"),
    ("protocol", "id of the protocol"),
    (
        "fields_visited",
        "fields with a visit within the stage window",
    ),
    (
        "fields_outside_stage",
        "fields with visits at another crop stage only",
    ),
    (
        "status",
        "public, would-be-public (if the week were published now) or withheld",
    ),
    (
        "public_place",
        "place of the row that most of its fields are in: the county, or elsewhere",
    ),
    ("reason", "why the county has no row of its own"),
];

/// The rows of a period as CSV.
///
/// # Errors
/// A [`Failure`] if the table cannot be written.
pub(crate) fn disclosure_csv(
    outcomes: &[CountyOutcome],
    period: Period,
) -> Result<Vec<u8>, Failure> {
    let rows: Vec<&CountyOutcome> = outcomes
        .iter()
        .filter(|row| period.holds(&row.iso_week, row.season))
        .collect();
    let text = |of: &dyn Fn(&CountyOutcome) -> Option<String>| -> ArrayRef {
        Arc::new(rows.iter().map(|row| of(row)).collect::<StringArray>())
    };
    let count = |place: usize| -> ArrayRef {
        let counts = rows.iter().map(|row| i64::from(row.fields[place]));
        Arc::new(Int64Array::from_iter_values(counts))
    };
    let columns: Vec<ArrayRef> = vec![
        text(&|row| Some(row.outcome.county_id.clone())),
        Arc::new(Int32Array::from_iter_values(
            rows.iter().map(|row| row.season),
        )),
        text(&|row| Some(row.iso_week.clone())),
        text(&|row| Some(row.protocol.clone())),
        count(0),
        count(1),
        text(&|row| Some(row.status().word().to_owned())),
        text(&|row| Some(row.outcome.place.as_ref()?.in_words())),
        text(&|row| Some(row.outcome.withheld?.to_string())),
    ];
    let columns = COLUMNS
        .iter()
        .map(|(name, _)| *name)
        .zip(columns)
        .map(|(name, column)| (name, column, true));
    let batch = RecordBatch::try_from_iter_with_nullable(columns).map_err(|error| {
        Failure::because(
            Kind::Publish,
            "cannot make the table of what is public",
            error,
        )
    })?;
    let docs = COLUMNS.map(|(name, description)| ColumnDoc {
        name,
        description,
        unit: None,
    });
    write_csv(&batch, &docs)
}
