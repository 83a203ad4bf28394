//! Roll-up tables as CSV and Parquet: the same cells, in full precision, for people and programs.
//!
//! Neither rounds nor reorders, and hides nothing: what may be seen was decided in the roll-up.

use std::sync::Arc;

use arrow::array::{Array, ArrayRef, AsArray, RecordBatch, StringArray};
use arrow::compute::cast;
use arrow::csv::writer::{Terminator, WriterBuilder};
use arrow::datatypes::{DataType, Field, Schema};
use parquet::arrow::ArrowWriter;
use parquet::basic::{Compression, ZstdLevel};
use parquet::file::metadata::KeyValue;
use parquet::file::properties::WriterProperties;
use serde::Serialize;

use scouting::failure::{Cause, Failure, Kind};
use scouting::visit::words::disarmed;

/// The key of the Parquet file that carries the notice that the data is invented.
pub(crate) const INVENTED_KEY: &str = "invented";
/// The key of the Parquet file that says that it is of a scenario, and of which.
pub(crate) const SCENARIO_KEY: &str = "scenario";

/// What a column means, for a reader of the file alone.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct ColumnDoc<'a> {
    /// The column's name.
    pub name: &'a str,
    /// One line of plain words.
    pub description: &'a str,
    /// Unit of the values, such as `fields` or `1` for a ratio; `None` for text and yes or no.
    pub unit: Option<&'a str>,
}

/// A table as CSV (RFC 4180: comma, quotes where needed, CRLF, a header): numbers in the shortest
/// form that reads back to the same value, no value as an empty cell, `true` and `false`. Text that
/// a spreadsheet would run as a formula gets an apostrophe in front.
///
/// # Errors
/// A [`Failure`] if a column is nested, or the docs and the columns do not match.
pub fn write_csv(table: &RecordBatch, docs: &[ColumnDoc]) -> Result<Vec<u8>, Failure> {
    let table = documented(table, docs)?;
    let columns = table.columns().iter().map(disarm_formulas).collect();
    let table = RecordBatch::try_new(table.schema(), columns).map_err(unwritable("CSV"))?;
    let mut bytes = Vec::new();
    WriterBuilder::new()
        .with_line_terminator(Terminator::CRLF)
        .build(&mut bytes)
        .write(&table)
        .map_err(unwritable("CSV"))?;
    Ok(bytes)
}

/// Rows as CSV (RFC 4180) with a header, for tables that come from no roll-up. Texts must be disarmed already.
///
/// # Errors
/// A [`Failure`] if a row is nested.
pub(crate) fn csv_of(rows: impl Iterator<Item = impl Serialize>) -> Result<Vec<u8>, Failure> {
    let mut writer = csv::WriterBuilder::new()
        .terminator(csv::Terminator::CRLF)
        .from_writer(Vec::new());
    for row in rows {
        writer.serialize(row).map_err(unwritable("CSV"))?;
    }
    writer.into_inner().map_err(unwritable("CSV"))
}

/// A table as Parquet (zstd), each column with its `description` and `unit` as Arrow field metadata
/// and, where the data is invented, the notice as file metadata under [`INVENTED_KEY`].
///
/// # Errors
/// A [`Failure`] if the docs and the columns do not match.
pub fn write_parquet(
    table: &RecordBatch,
    docs: &[ColumnDoc],
    invented: Option<&str>,
) -> Result<Vec<u8>, Failure> {
    write_documented(&documented(table, docs)?, invented, Vec::new())
}

/// The same of a scenario, with what it is as file metadata under [`SCENARIO_KEY`].
///
/// # Errors
/// A [`Failure`] if the docs and the columns do not match.
pub(crate) fn write_scenario_parquet(
    table: &RecordBatch,
    docs: &[ColumnDoc],
    invented: Option<&str>,
    scenario: &str,
) -> Result<Vec<u8>, Failure> {
    let note = KeyValue::new(SCENARIO_KEY.to_owned(), scenario.to_owned());
    write_documented(&documented(table, docs)?, invented, vec![note])
}

/// A table that has its docs, with further notes as file metadata.
pub(crate) fn write_documented(
    table: &RecordBatch,
    invented: Option<&str>,
    mut notes: Vec<KeyValue>,
) -> Result<Vec<u8>, Failure> {
    notes.extend(invented.map(|text| KeyValue::new(INVENTED_KEY.to_owned(), text.to_owned())));
    let properties = WriterProperties::builder()
        .set_compression(Compression::ZSTD(ZstdLevel::default()))
        .set_key_value_metadata((!notes.is_empty()).then_some(notes))
        .build();
    let mut bytes = Vec::new();
    let mut writer = ArrowWriter::try_new(&mut bytes, table.schema(), Some(properties))
        .map_err(unwritable("Parquet"))?;
    writer.write(table).map_err(unwritable("Parquet"))?;
    writer.close().map_err(unwritable("Parquet"))?;
    Ok(bytes)
}

/// The table with its docs as field metadata, and with text in the one form that every reader
/// knows: engines hand out views and dictionaries, which older readers of Arrow refuse.
pub(crate) fn documented(table: &RecordBatch, docs: &[ColumnDoc]) -> Result<RecordBatch, Failure> {
    let broken = |what: String| Failure::new(Kind::Publish, what);
    let schema = table.schema();
    if let Some(doc) = docs
        .iter()
        .find(|doc| schema.column_with_name(doc.name).is_none())
    {
        let name = doc.name;
        return Err(broken(format!("column {name} is described but missing")));
    }
    let mut fields = Vec::with_capacity(docs.len());
    let mut columns = Vec::with_capacity(docs.len());
    for (field, column) in schema.fields().iter().zip(table.columns()) {
        let name = field.name();
        let doc = docs
            .iter()
            .find(|doc| doc.name == name)
            .ok_or_else(|| broken(format!("column {name} has no description")))?;
        let column = plain_text(column).map_err(unwritable("table"))?;
        let unit = doc.unit.map(|unit| ("unit".to_owned(), unit.to_owned()));
        let description = ("description".to_owned(), doc.description.to_owned());
        fields.push(
            Field::new(name, column.data_type().clone(), field.is_nullable())
                .with_metadata(unit.into_iter().chain([description]).collect()),
        );
        columns.push(column);
    }
    RecordBatch::try_new(Arc::new(Schema::new(fields)), columns).map_err(unwritable("table"))
}

fn plain_text(column: &ArrayRef) -> Result<ArrayRef, arrow::error::ArrowError> {
    let values = match column.data_type() {
        DataType::Dictionary(_, values) => values,
        other => other,
    };
    match values.is_string() {
        true => cast(column, &DataType::Utf8),
        false => Ok(Arc::clone(column)),
    }
}

/// Numbers are left alone: a negative one is no formula.
fn disarm_formulas(column: &ArrayRef) -> ArrayRef {
    let Some(texts) = column.as_string_opt::<i32>() else {
        return Arc::clone(column);
    };
    let texts = texts.iter().map(|text| text.map(disarmed));
    Arc::new(texts.collect::<StringArray>())
}

fn unwritable<E: Into<Cause>>(form: &'static str) -> impl Fn(E) -> Failure {
    move |error| Failure::because(Kind::Publish, format!("cannot write the {form}"), error)
}

#[cfg(test)]
mod tests {
    use arrow::array::{BooleanArray, Float64Array, Int64Array, StringViewArray};

    use super::*;

    const DOCS: [ColumnDoc; 4] = [
        doc("county_name", None),
        doc("median_pressure", Some("1")),
        doc("fields_outside_stage", Some("fields")),
        doc("suppressed", None),
    ];

    const fn doc<'a>(name: &'a str, unit: Option<&'a str>) -> ColumnDoc<'a> {
        ColumnDoc {
            name,
            description: "words",
            unit,
        }
    }

    fn table(names: Vec<&str>, pressures: Vec<Option<f64>>) -> RecordBatch {
        let rows = names.len();
        let columns: [(&str, ArrayRef); 4] = [
            ("county_name", Arc::new(StringViewArray::from(names))),
            ("median_pressure", Arc::new(Float64Array::from(pressures))),
            (
                "fields_outside_stage",
                Arc::new(Int64Array::from(vec![-1; rows])),
            ),
            ("suppressed", Arc::new(BooleanArray::from(vec![true; rows]))),
        ];
        RecordBatch::try_from_iter(columns).expect("columns of one length")
    }

    fn csv(names: Vec<&str>, pressures: Vec<Option<f64>>) -> String {
        let bytes = write_csv(&table(names, pressures), &DOCS).expect("a table");
        String::from_utf8(bytes).expect("UTF-8")
    }

    #[test]
    fn csv_keeps_every_digit_and_leaves_what_is_not_there_empty() {
        let text = csv(vec!["Alder", "Birch"], vec![Some(0.1 + 0.2), None]);
        assert_eq!(
            text,
            "county_name,median_pressure,fields_outside_stage,suppressed\r\n\
             Alder,0.30000000000000004,-1,true\r\n\
             Birch,,-1,true\r\n"
        );
    }

    #[test]
    fn csv_quotes_what_must_be_quoted() {
        let text = csv(vec!["a \"b\", c\nd"], vec![None]);
        assert!(text.contains("\"a \"\"b\"\", c\nd\",,-1,true"), "{text}");
    }

    #[test]
    fn text_that_a_spreadsheet_would_run_is_disarmed_and_numbers_are_not_touched() {
        for name in ["=1+1", "+1", "-1", "@SUM(A1)", "\t=1", "\r=1", "\n=1"] {
            let text = csv(vec![name], vec![Some(-2.5)]);
            assert!(text.contains(&format!("'{name}")), "{text:?}");
            assert!(text.contains(",-2.5,-1,"), "{text:?}");
        }
        assert!(csv(vec!["A=1"], vec![None]).contains("\r\nA=1,"));
    }

    #[test]
    fn an_undescribed_column_and_a_description_of_none_are_refused() {
        let table = table(vec!["Alder"], vec![None]);
        let failure = write_csv(&table, &DOCS[1..]).expect_err("undescribed");
        assert!(
            failure
                .to_string()
                .contains("county_name has no description")
        );
        let more = [&DOCS[..], &[doc("farm", None)]].concat();
        let failure = write_parquet(&table, &more, None).expect_err("not there");
        assert!(
            failure
                .to_string()
                .contains("farm is described but missing")
        );
    }

    #[test]
    fn the_same_table_gives_the_same_parquet_bytes() {
        let write = || write_parquet(&table(vec!["Alder"], vec![Some(1.0)]), &DOCS, Some("no"));
        let first = write().expect("a table");
        for _ in 0..8 {
            assert!(write().expect("a table") == first);
        }
    }
}
