//! A table of ours that no stage makes, laid out as a text says that has the form of a stage's header.

use std::sync::Arc;

use arrow::array::{ArrayRef, RecordBatch};
use arrow::datatypes::{Field, Schema};

use scouting::failure::{Failure, Kind};
use store::stages::files::{StageColumn, columns_of};

/// A table with what its columns mean.
#[derive(Debug, Clone)]
pub struct DescribedTable {
    /// The columns, in order.
    pub columns: Vec<StageColumn>,
    /// The rows, in the order of what identifies them.
    pub batch: RecordBatch,
}

/// A table laid out as `columns` says, with what its columns mean.
pub(crate) fn described(
    table: &str,
    columns: &str,
    values: Vec<ArrayRef>,
) -> Result<DescribedTable, Failure> {
    let columns = columns_of(table, columns)?;
    let fields = columns
        .iter()
        .map(|column| Field::new(&column.name, column.data_type.clone(), column.nullable));
    let schema = Arc::new(Schema::new(fields.collect::<Vec<_>>()));
    let batch = RecordBatch::try_new(schema, values)
        .map_err(|error| Failure::because(Kind::Stage, format!("the table {table}"), error))?;
    Ok(DescribedTable { columns, batch })
}
