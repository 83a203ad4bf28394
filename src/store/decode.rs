//! Decodes the rows of an Arrow batch: each member of a row from the column of its name.
//!
//! A text may be of any of the engine's kinds of text, a whole number of any width that holds the value; a day is days
//! since 1970-01-01 and a moment microseconds since then. Anything else is refused with the name of the column.

use std::fmt;

use arrow::array::{Array, RecordBatch};
use arrow::datatypes::{DataType, FieldRef, TimeUnit};
use jiff::ToSpan;
use jiff::civil::Date;
use serde::{Deserialize, Deserializer, de};
use serde_arrow::marrow::datatypes::Field;
use serde_arrow::marrow::error::MarrowError;
use serde_arrow::marrow::view::View;
use serde_arrow::schema::{SchemaLike, TracingOptions};

/// Why a batch cannot be decoded; it names the column.
#[derive(Debug)]
pub struct BadColumns(String);

impl fmt::Display for BadColumns {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.0)
    }
}

impl std::error::Error for BadColumns {}

impl From<MarrowError> for BadColumns {
    fn from(error: MarrowError) -> BadColumns {
        BadColumns(error.to_string())
    }
}

impl From<serde_arrow::Error> for BadColumns {
    fn from(error: serde_arrow::Error) -> BadColumns {
        BadColumns(error.to_string())
    }
}

/// The rows of a batch whose columns are the members of `T` and no other.
///
/// # Errors
/// [`BadColumns`] if a column is missing, unknown, of another type, or null where the member is no `Option`.
pub fn rows<'a, T: Deserialize<'a>>(batch: &'a RecordBatch) -> Result<Vec<T>, BadColumns> {
    let wanted = members::<T>()?;
    let schema = batch.schema();
    let known = |name: &str| wanted.iter().any(|member| member.name() == name);
    if let Some(other) = schema.fields().iter().find(|field| !known(field.name())) {
        return Err(BadColumns(format!("column {} is unknown", other.name())));
    }
    decoded(batch, &wanted)
}

/// The rows of a batch that has the members of `T` among its columns.
///
/// # Errors
/// [`BadColumns`] if a column is missing, of another type, or null where the member is no `Option`.
pub fn rows_among<'a, T: Deserialize<'a>>(batch: &'a RecordBatch) -> Result<Vec<T>, BadColumns> {
    decoded(batch, &members::<T>()?)
}

fn decoded<'a, T: Deserialize<'a>>(
    batch: &'a RecordBatch,
    members: &[FieldRef],
) -> Result<Vec<T>, BadColumns> {
    let mut fields = Vec::with_capacity(members.len());
    let mut views = Vec::with_capacity(members.len());
    for member in members {
        let (field, column) = column_of(batch, member)?;
        fields.push(Field::try_from(field)?);
        views.push(View::try_from(column)?);
    }
    let rows = serde_arrow::Deserializer::from_marrow(&fields, &views)?;
    Ok(Vec::deserialize(rows)?)
}

/// The columns that the members of a type are read from.
fn members<'a, T: Deserialize<'a>>() -> Result<Vec<FieldRef>, BadColumns> {
    Ok(Vec::<FieldRef>::from_type::<T>(TracingOptions::default())?)
}

fn column_of<'a>(
    batch: &'a RecordBatch,
    member: &FieldRef,
) -> Result<(&'a arrow::datatypes::Field, &'a dyn Array), BadColumns> {
    let name = member.name();
    let place = batch.schema_ref().index_of(name);
    let place = place.map_err(|_| BadColumns(format!("column {name} is missing")))?;
    let column = batch.column(place);
    let (found, wanted) = (column.data_type(), member.data_type());
    if !holds(found, wanted) {
        let reason = format!("column {name} is {found}, where {wanted} is read");
        return Err(BadColumns(reason));
    }
    if column.null_count() > 0 && !member.is_nullable() {
        return Err(BadColumns(format!("column {name} is null in some rows")));
    }
    Ok((batch.schema_ref().field(place), column.as_ref()))
}

/// Whether a column can be read as a member of a type, without a change of its values.
fn holds(found: &DataType, wanted: &DataType) -> bool {
    match wanted {
        DataType::LargeUtf8 => found.is_string(),
        DataType::LargeBinary => found.is_binary(),
        DataType::Int32 if *found == DataType::Date32 => true,
        DataType::Int64 if matches!(found, DataType::Timestamp(TimeUnit::Microsecond, _)) => true,
        wanted if wanted.is_integer() => found.is_integer(),
        wanted => found == wanted,
    }
}

/// A day, from days since 1970-01-01: `#[serde(deserialize_with = "day")]`.
///
/// # Errors
/// Where the calendar has no such day.
pub fn day<'de, D: Deserializer<'de>>(deserializer: D) -> Result<Date, D::Error> {
    after_epoch(i32::deserialize(deserializer)?)
}

/// A day or none.
///
/// # Errors
/// Where the calendar has no such day.
pub fn day_or_none<'de, D: Deserializer<'de>>(deserializer: D) -> Result<Option<Date>, D::Error> {
    let days = Option::<i32>::deserialize(deserializer)?;
    days.map(after_epoch).transpose()
}

fn after_epoch<E: de::Error>(days: i32) -> Result<Date, E> {
    let epoch = Date::constant(1970, 1, 1);
    epoch.checked_add(days.days()).map_err(E::custom)
}

#[cfg(test)]
mod tests {
    use std::sync::Arc;

    use arrow::array::{
        ArrayRef, BinaryArray, BooleanArray, Date32Array, Float64Array, Int32Array, Int64Array,
        StringArray, StringViewArray,
    };
    use jiff::civil::date;

    use super::*;

    #[derive(Debug, PartialEq, Deserialize)]
    struct Row<'a> {
        name: &'a str,
        hash: &'a [u8],
        count: u64,
        share: Option<f64>,
        #[serde(deserialize_with = "day")]
        on: Date,
    }

    fn given(changed: Option<(&str, ArrayRef)>) -> RecordBatch {
        let mut columns: Vec<(&str, ArrayRef)> = vec![
            ("name", Arc::new(StringViewArray::from(vec!["a", "b"]))),
            ("hash", Arc::new(BinaryArray::from(vec![&b"12"[..], b"34"]))),
            ("count", Arc::new(Int64Array::from(vec![7, 8]))),
            ("share", Arc::new(Float64Array::from(vec![Some(0.1), None]))),
            ("on", Arc::new(Date32Array::from(vec![0, 20_000]))),
        ];
        if let Some((name, column)) = changed {
            columns.retain(|(other, _)| *other != name);
            columns.push((name, column));
        }
        RecordBatch::try_from_iter(columns).unwrap()
    }

    #[test]
    fn rows_are_read_by_name_in_any_order() {
        let batch = given(Some(("name", Arc::new(StringArray::from(vec!["c", "d"])))));
        let found: Vec<Row<'_>> = rows(&batch).unwrap();
        let second = Row {
            name: "d",
            hash: b"34",
            count: 8,
            share: None,
            on: date(2024, 10, 4),
        };
        assert_eq!(found[1], second);
        assert_eq!((found[0].share, found[0].on), (Some(0.1), date(1970, 1, 1)));
    }

    #[test]
    fn what_is_not_as_its_member_is_refused_with_the_name_of_the_column() {
        let numbers = || -> ArrayRef { Arc::new(Float64Array::from(vec![1.0, 2.0])) };
        let truths = || -> ArrayRef { Arc::new(BooleanArray::from(vec![true, false])) };
        for (name, column) in [
            ("name", numbers()),
            ("hash", numbers()),
            ("count", numbers()),
            ("count", truths()),
            ("count", Arc::new(Int64Array::from(vec![Some(1), None]))),
            ("count", Arc::new(Int64Array::from(vec![1, -1]))),
            ("share", Arc::new(Int32Array::from(vec![1, 2]))),
            ("share", Arc::new(StringArray::from(vec!["1", "2"]))),
            ("on", Arc::new(StringArray::from(vec!["1", "2"]))),
            ("on", Arc::new(Date32Array::from(vec![0, i32::MAX]))),
            ("other", numbers()),
        ] {
            let batch = given(Some((name, column)));
            let refused = rows::<Row<'_>>(&batch).unwrap_err().to_string();
            assert!(refused.contains(name), "{name}: {refused}");
        }
        let batch = given(None);
        let batch = batch.project(&[0, 1, 2, 3]).unwrap();
        let refused = rows::<Row<'_>>(&batch).unwrap_err().to_string();
        assert_eq!(refused, "column on is missing");
    }

    #[test]
    fn a_table_may_have_more_columns_than_are_read() {
        let batch = given(Some((
            "other",
            Arc::new(Int32Array::from(vec![1, 2])) as ArrayRef,
        )));
        assert_eq!(rows_among::<Row<'_>>(&batch).unwrap().len(), 2);
    }
}
