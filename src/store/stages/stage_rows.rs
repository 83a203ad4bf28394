//! The rows of a stage, held to the columns, types and nulls of its header.

use std::sync::Arc;

use arrow::array::{Array, ArrayRef, RecordBatch, UInt32Array};
use arrow::compute::{
    CastOptions, LexicographicalComparator, SortColumn, SortOptions, cast_with_options,
    concat_batches, take_record_batch,
};
use arrow::datatypes::{Field, Schema, SchemaRef};
use arrow::error::ArrowError;
use serde::Deserialize;

use crate::rows::decode;
use crate::stages::engine::Parts;
use crate::stages::files::{Stage, StageColumn};
use scouting::failure::{Failure, Kind};

/// The columns that the header promises.
pub(crate) fn schema_of(stage: &Stage) -> SchemaRef {
    let fields = stage
        .columns
        .iter()
        .map(|column| Field::new(&column.name, column.data_type.clone(), column.nullable));
    Arc::new(Schema::new(fields.collect::<Vec<_>>()))
}

/// A batch with exactly the columns that the header promises, text in the engine's own kind of it: to copy
/// every text from stage to stage would take longer than most of the stages.
pub(crate) fn conforming(stage: &Stage, batch: &RecordBatch) -> Result<RecordBatch, Failure> {
    let found: Vec<String> = batch
        .schema()
        .fields()
        .iter()
        .map(|f| f.name().clone())
        .collect();
    let promised: Vec<String> = stage
        .columns
        .iter()
        .map(|column| column.name.clone())
        .collect();
    if found != promised {
        return Err(broken(
            stage,
            &format!("its columns are {}", found.join(", ")),
        ));
    }
    let columns: Vec<ArrayRef> = stage
        .columns
        .iter()
        .zip(batch.columns())
        .map(|(column, array)| {
            let array = of_type(stage, column, array)?;
            if array.null_count() > 0 && !column.nullable {
                return Err(broken(
                    stage,
                    &format!("{} is null in some rows", column.name),
                ));
            }
            Ok(array)
        })
        .collect::<Result<_, _>>()?;
    let fields = stage.columns.iter().zip(&columns).map(|(column, array)| {
        Field::new(&column.name, array.data_type().clone(), column.nullable)
    });
    let schema = Schema::new(fields.collect::<Vec<_>>());
    RecordBatch::try_new(Arc::new(schema), columns)
        .map_err(|error| broken(stage, &error.to_string()).caused_by(error))
}

/// A column in the header's type, or in another kind of text. The engine chooses among its kinds of text and
/// widths of whole numbers as it likes; any other difference is a lie of the header.
fn of_type(stage: &Stage, column: &StageColumn, array: &ArrayRef) -> Result<ArrayRef, Failure> {
    let (found, promised) = (array.data_type(), &column.data_type);
    let one_kind = found == promised
        || (found.is_string() && promised.is_string())
        || (found.is_integer() && promised.is_integer())
        || (found.is_null() && column.nullable);
    if !one_kind {
        let name = &column.name;
        return Err(broken(
            stage,
            &format!("{name} is {found}, where its header promises {promised}"),
        ));
    }
    if found.is_string() {
        return Ok(array.clone());
    }
    strictly_cast(stage, column, array)
}

fn strictly_cast(
    stage: &Stage,
    column: &StageColumn,
    array: &ArrayRef,
) -> Result<ArrayRef, Failure> {
    let strictly = CastOptions {
        safe: false,
        ..CastOptions::default()
    };
    cast_with_options(array, &column.data_type, &strictly)
        .map_err(|error| broken(stage, &format!("{}: {error}", column.name)).caused_by(error))
}

/// The columns of the rows as they are.
pub(crate) fn schema_of_parts(parts: &Parts) -> SchemaRef {
    let first = parts.iter().flatten().next();
    first
        .expect("a stage has a batch, if without rows")
        .schema()
}

/// The rows of a stage that was run, in one batch with the header's types, in the order of its key.
pub fn whole_table(stage: &Stage, parts: &Parts) -> Result<RecordBatch, Failure> {
    let failed = |error: ArrowError| broken(stage, &error.to_string()).caused_by(error);
    let schema = schema_of(stage);
    let batches = parts.iter().flatten().map(|batch| {
        let columns = stage.columns.iter().zip(batch.columns());
        let columns = columns.map(|(column, array)| strictly_cast(stage, column, array));
        let columns = columns.collect::<Result<_, Failure>>()?;
        RecordBatch::try_new(schema.clone(), columns).map_err(failed)
    });
    let table =
        concat_batches(&schema, &batches.collect::<Result<Vec<_>, _>>()?).map_err(failed)?;
    // Most stages end in the order of their key, and what is in order is not sorted again.
    let order = LexicographicalComparator::try_new(&sorted_key(stage, &table)?).map_err(failed)?;
    if (1..table.num_rows()).all(|row| order.compare(row - 1, row).is_lt()) {
        return Ok(table);
    }
    let rows = u32::try_from(table.num_rows()).expect("fewer than four billion rows");
    let mut sorted: Vec<u32> = (0..rows).collect();
    // The stable sort merges what is in order already: the parts of weeks of a large roll-up.
    sorted.sort_by(|one, other| order.compare(*one as usize, *other as usize));
    take_record_batch(&table, &UInt32Array::from(sorted)).map_err(failed)
}

fn sorted_key(stage: &Stage, table: &RecordBatch) -> Result<Vec<SortColumn>, Failure> {
    let ascending = key_of(stage, table)?.into_iter().map(|column| SortColumn {
        values: column.clone(),
        options: Some(SortOptions::new(false, false)),
    });
    Ok(ascending.collect())
}

/// The columns of a stage's key.
pub(crate) fn key_of<'a>(
    stage: &Stage,
    batch: &'a RecordBatch,
) -> Result<Vec<&'a ArrayRef>, Failure> {
    let column = |name: &String| {
        batch
            .column_by_name(name)
            .ok_or_else(|| broken(stage, &format!("its key {name} is none of its columns")))
    };
    stage.key.iter().map(column).collect()
}

/// The rows of a table that a stage made, as [`decode::rows_among`] reads them.
///
/// # Errors
/// A [`Failure`] that names the table and the column.
pub fn rows_of<'a, T: Deserialize<'a>>(
    batch: &'a RecordBatch,
    table: &str,
) -> Result<Vec<T>, Failure> {
    decode::rows_among(batch)
        .map_err(|error| Failure::because(Kind::Stage, format!("table {table}"), error))
}

/// A stage that does not keep to its header.
pub(crate) fn broken(stage: &Stage, reason: &str) -> Failure {
    Failure::new(
        Kind::Stage,
        format!("the stage {} failed: {reason}", stage.file_name),
    )
    .mend("`bractline store verify` shows whether the store is undamaged; if it is, please report this")
}
