//! The answer to a person's query, written in the forms that people and programs read.

use std::sync::Arc;

use arrow::array::RecordBatch;
use arrow::compute::cast;
use arrow::datatypes::{DataType, Field, Schema};
use arrow::error::ArrowError;
use arrow::ipc::writer::FileWriter;
use arrow::util::display::{ArrayFormatter, FormatOptions};
use datafusion::arrow::json::WriterBuilder;
use datafusion::arrow::json::writer::JsonArray;
use datafusion::arrow::util::pretty::pretty_format_batches;
use parquet::arrow::ArrowWriter;
use parquet::basic::{Compression, ZstdLevel};
use parquet::file::metadata::KeyValue;
use parquet::file::properties::WriterProperties;

use scouting::failure::{Cause, Failure, Kind};

/// What a query came to: one batch or more, with one schema.
pub struct Answer {
    batches: Vec<RecordBatch>,
}

impl Answer {
    /// Of one batch or more.
    pub(crate) fn of(batches: &[RecordBatch]) -> Result<Answer, Failure> {
        let batches = batches.iter().map(plain).collect::<Result<_, _>>();
        Ok(Answer {
            batches: batches.map_err(unshown)?,
        })
    }

    /// A table for people.
    pub fn text(&self) -> Result<String, Failure> {
        let table = pretty_format_batches(&self.batches).map_err(unshown)?;
        Ok(table.to_string())
    }

    /// JSON array of objects, nulls written out.
    pub fn json(&self) -> Result<String, Failure> {
        let mut text = Vec::new();
        let builder = WriterBuilder::new().with_explicit_nulls(true);
        let mut writer = builder.build::<_, JsonArray>(&mut text);
        let batches: Vec<&RecordBatch> = self.batches.iter().collect();
        writer
            .write_batches(&batches)
            .and_then(|()| writer.finish())
            .map_err(unshown)?;
        String::from_utf8(text).map_err(unshown)
    }

    /// CSV with a line of names; a null is an empty cell, bytes are hexadecimal.
    pub fn csv(&self) -> Result<String, Failure> {
        let mut writer = csv::Writer::from_writer(Vec::new());
        let schema = self.batches[0].schema();
        let names = schema.fields().iter().map(|field| field.name().as_str());
        writer.write_record(names).map_err(unshown)?;
        for batch in &self.batches {
            let options = FormatOptions::default();
            let columns = batch
                .columns()
                .iter()
                .map(|column| ArrayFormatter::try_new(column, &options))
                .collect::<Result<Vec<_>, _>>()
                .map_err(unshown)?;
            for row in 0..batch.num_rows() {
                let cells = columns.iter().map(|column| column.value(row).to_string());
                writer.write_record(cells).map_err(unshown)?;
            }
        }
        let bytes = writer.into_inner().map_err(unshown)?;
        let text = String::from_utf8(bytes).map_err(unshown)?;
        Ok(text.trim_end_matches('\n').to_owned())
    }

    /// A Parquet file (zstd), with these notes as its metadata.
    pub fn parquet(&self, notes: &[(&str, &str)]) -> Result<Vec<u8>, Failure> {
        let note =
            |(key, value): &(&str, &str)| KeyValue::new((*key).to_owned(), (*value).to_owned());
        let notes: Vec<KeyValue> = notes.iter().map(note).collect();
        let properties = WriterProperties::builder()
            .set_compression(Compression::ZSTD(ZstdLevel::default()))
            .set_key_value_metadata((!notes.is_empty()).then_some(notes))
            .build();
        let mut bytes = Vec::new();
        let schema = self.batches[0].schema();
        let mut writer =
            ArrowWriter::try_new(&mut bytes, schema, Some(properties)).map_err(unshown)?;
        for batch in &self.batches {
            writer.write(batch).map_err(unshown)?;
        }
        writer.close().map_err(unshown)?;
        Ok(bytes)
    }

    /// An Arrow file (the IPC file format, not compressed), with these notes as metadata of its schema.
    pub fn arrow(&self, notes: &[(&str, &str)]) -> Result<Vec<u8>, Failure> {
        let schema = self.batches[0].schema();
        let notes = notes.iter();
        let notes = notes.map(|(key, value)| ((*key).to_owned(), (*value).to_owned()));
        let schema = Arc::new(schema.as_ref().clone().with_metadata(notes.collect()));
        let mut bytes = Vec::new();
        let mut writer = FileWriter::try_new(&mut bytes, &schema).map_err(unshown)?;
        for batch in &self.batches {
            writer.write(batch).map_err(unshown)?;
        }
        writer.finish().map_err(unshown)?;
        drop(writer);
        Ok(bytes)
    }
}

/// The rows with text in the one form that every reader knows: the engine hands out views and dictionaries, which older
/// readers of Arrow refuse.
fn plain(batch: &RecordBatch) -> Result<RecordBatch, ArrowError> {
    let schema = batch.schema();
    let fields: Vec<Field> = schema
        .fields()
        .iter()
        .map(|field| {
            let values = match field.data_type() {
                DataType::Dictionary(_, values) => values,
                other => other,
            };
            let kind = match values {
                DataType::Utf8View => &DataType::Utf8,
                DataType::BinaryView => &DataType::Binary,
                other => other,
            };
            Field::new(field.name(), kind.clone(), field.is_nullable())
        })
        .collect();
    let columns = batch.columns().iter().zip(&fields);
    let columns = columns.map(|(column, field)| cast(column, field.data_type()));
    let columns = columns.collect::<Result<Vec<_>, _>>()?;
    RecordBatch::try_new_with_options(
        Arc::new(Schema::new(fields)),
        columns,
        &arrow::array::RecordBatchOptions::new().with_row_count(Some(batch.num_rows())),
    )
}

fn unshown(error: impl Into<Cause>) -> Failure {
    Failure::because(Kind::Settings, "cannot show the answer", error)
}
