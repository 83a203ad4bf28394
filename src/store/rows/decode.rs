//! Decodes the rows of an Arrow batch: each member of a row from the column of its name.
//!
//! A row is a struct that derives `Deserialize`; its members may borrow from the batch. A text may be of any of the
//! engine's kinds of text, a whole number of either width that holds the value. Anything else is refused with the name
//! of the column: another type, a null where the member is no `Option`, a column that is missing or unknown.

use std::fmt;

use arrow::array::{
    Array, ArrayRef, AsArray, BinaryArray, BinaryViewArray, BooleanArray, Date32Array,
    Float64Array, Int32Array, Int64Array, RecordBatch, StringArray, StringViewArray,
    TimestampMicrosecondArray,
};
use arrow::datatypes::{
    DataType, Date32Type, Float64Type, Int32Type, Int64Type, TimeUnit, TimestampMicrosecondType,
};
use jiff::civil::Date;
use jiff::{Span, Timestamp};
use serde::de::value::{I32Deserializer, I64Deserializer};
use serde::de::{self, DeserializeSeed, SeqAccess, Visitor};
use serde::{Deserialize, Deserializer, forward_to_deserialize_any};

/// Why a batch cannot be decoded; it names the column.
#[derive(Debug)]
pub struct BadColumns(String);

impl fmt::Display for BadColumns {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.0)
    }
}

impl std::error::Error for BadColumns {}

impl de::Error for BadColumns {
    fn custom<T: fmt::Display>(reason: T) -> BadColumns {
        BadColumns(reason.to_string())
    }
}

/// The rows of a batch whose columns are the members of `T` and no other.
///
/// # Errors
/// [`BadColumns`] if a column is missing, unknown, of another type, or null where the member is no `Option`.
pub fn rows<'a, T: Deserialize<'a>>(batch: &'a RecordBatch) -> Result<Vec<T>, BadColumns> {
    let members = members_of::<T>();
    let schema = batch.schema_ref();
    let mut found = schema.fields().iter().map(|field| field.name());
    match found.find(|name| !members.contains(&name.as_str())) {
        Some(other) => Err(BadColumns(format!("column {other}: it is unknown"))),
        None => decoded(batch, members),
    }
}

/// The rows of a batch that has the members of `T` among its columns.
///
/// # Errors
/// [`BadColumns`] if a column is missing, of another type, or null where the member is no `Option`.
pub(crate) fn rows_among<'a, T: Deserialize<'a>>(
    batch: &'a RecordBatch,
) -> Result<Vec<T>, BadColumns> {
    decoded(batch, members_of::<T>())
}

fn decoded<'a, T: Deserialize<'a>>(
    batch: &'a RecordBatch,
    members: &[&'static str],
) -> Result<Vec<T>, BadColumns> {
    let columns = members.iter().map(|name| Column::of(batch, name));
    let columns: Vec<Column<'_>> = columns.collect::<Result<_, _>>()?;
    (0..batch.num_rows())
        .map(|row| T::deserialize(Row(&columns, row)))
        .collect()
}

/// The names of a struct's members, which its `Deserialize` gives to the first deserializer that it meets.
fn members_of<'a, T: Deserialize<'a>>() -> &'static [&'static str] {
    let mut members: &[&str] = &[];
    // Nothing is read: it stops once the names are known.
    let stopped = T::deserialize(Members(&mut members));
    debug_assert!(stopped.is_err(), "a row is a struct");
    members
}

struct Members<'m>(&'m mut &'static [&'static str]);

impl<'de> Deserializer<'de> for Members<'_> {
    type Error = BadColumns;

    fn deserialize_struct<V: Visitor<'de>>(
        self,
        _: &'static str,
        members: &'static [&'static str],
        _: V,
    ) -> Result<V::Value, BadColumns> {
        *self.0 = members;
        Err(BadColumns(String::new()))
    }

    fn deserialize_any<V: Visitor<'de>>(self, _: V) -> Result<V::Value, BadColumns> {
        Err(BadColumns("a row is a struct".to_owned()))
    }

    forward_to_deserialize_any! {
        bool i8 i16 i32 i64 i128 u8 u16 u32 u64 u128 f32 f64 char str string bytes byte_buf option unit unit_struct
        newtype_struct seq tuple tuple_struct map enum identifier ignored_any
    }
}

/// A column and its values by their type.
struct Column<'a> {
    name: &'static str,
    array: &'a ArrayRef,
    values: Values<'a>,
}

enum Values<'a> {
    Text(&'a StringArray),
    TextView(&'a StringViewArray),
    Bytes(&'a BinaryArray),
    BytesView(&'a BinaryViewArray),
    Whole(&'a Int32Array),
    Long(&'a Int64Array),
    Number(&'a Float64Array),
    Truth(&'a BooleanArray),
    Day(&'a Date32Array),
    Moment(&'a TimestampMicrosecondArray),
}

impl<'a> Column<'a> {
    fn of(batch: &'a RecordBatch, name: &'static str) -> Result<Column<'a>, BadColumns> {
        let array = batch.column_by_name(name);
        let array = array.ok_or_else(|| BadColumns(format!("column {name}: it is missing")))?;
        let values = match array.data_type() {
            DataType::Utf8 => Values::Text(array.as_string()),
            DataType::Utf8View => Values::TextView(array.as_string_view()),
            DataType::Binary => Values::Bytes(array.as_binary()),
            DataType::BinaryView => Values::BytesView(array.as_binary_view()),
            DataType::Int32 => Values::Whole(array.as_primitive::<Int32Type>()),
            DataType::Int64 => Values::Long(array.as_primitive::<Int64Type>()),
            DataType::Float64 => Values::Number(array.as_primitive::<Float64Type>()),
            DataType::Boolean => Values::Truth(array.as_boolean()),
            DataType::Date32 => Values::Day(array.as_primitive::<Date32Type>()),
            DataType::Timestamp(TimeUnit::Microsecond, _) => {
                Values::Moment(array.as_primitive::<TimestampMicrosecondType>())
            }
            other => return Err(BadColumns(format!("column {name}: {other} is not read"))),
        };
        Ok(Column {
            name,
            array,
            values,
        })
    }
}

/// A row: its columns in the order of the members, and its place.
#[derive(Clone, Copy)]
struct Row<'r, 'a>(&'r [Column<'a>], usize);

impl<'de> Deserializer<'de> for Row<'_, 'de> {
    type Error = BadColumns;

    fn deserialize_any<V: Visitor<'de>>(self, visitor: V) -> Result<V::Value, BadColumns> {
        visitor.visit_seq(self)
    }

    forward_to_deserialize_any! {
        bool i8 i16 i32 i64 i128 u8 u16 u32 u64 u128 f32 f64 char str string bytes byte_buf option unit unit_struct
        newtype_struct seq tuple tuple_struct map struct enum identifier ignored_any
    }
}

impl<'de> SeqAccess<'de> for Row<'_, 'de> {
    type Error = BadColumns;

    fn next_element_seed<T: DeserializeSeed<'de>>(
        &mut self,
        seed: T,
    ) -> Result<Option<T::Value>, BadColumns> {
        let Some((column, rest)) = self.0.split_first() else {
            return Ok(None);
        };
        self.0 = rest;
        let value = seed.deserialize(Cell(column, self.1));
        let named = |BadColumns(reason)| BadColumns(format!("column {}: {reason}", column.name));
        value.map(Some).map_err(named)
    }
}

/// One value: its column and its row.
struct Cell<'r, 'a>(&'r Column<'a>, usize);

impl<'a> Cell<'_, 'a> {
    fn refused(&self, wanted: &str) -> BadColumns {
        let Cell(column, row) = self;
        BadColumns(match column.array.is_null(*row) {
            true => "it is null in some rows".to_owned(),
            false => format!("it is {}, where {wanted} is read", column.array.data_type()),
        })
    }

    /// The values, where this one is there.
    fn there(&self) -> Option<&Values<'a>> {
        let Cell(column, row) = self;
        (!column.array.is_null(*row)).then_some(&column.values)
    }

    fn whole<'de, V: Visitor<'de>>(self, visitor: V) -> Result<V::Value, BadColumns> {
        // The visitor of a narrower number refuses what it cannot hold.
        match self.there() {
            Some(Values::Whole(values)) => visitor.visit_i32(values.value(self.1)),
            Some(Values::Long(values)) => visitor.visit_i64(values.value(self.1)),
            _ => Err(self.refused("a whole number")),
        }
    }
}

impl<'de> Deserializer<'de> for Cell<'_, 'de> {
    type Error = BadColumns;

    fn deserialize_option<V: Visitor<'de>>(self, visitor: V) -> Result<V::Value, BadColumns> {
        match self.there() {
            Some(_) => visitor.visit_some(self),
            None => visitor.visit_none(),
        }
    }

    fn deserialize_bool<V: Visitor<'de>>(self, visitor: V) -> Result<V::Value, BadColumns> {
        match self.there() {
            Some(Values::Truth(values)) => visitor.visit_bool(values.value(self.1)),
            _ => Err(self.refused("a truth value")),
        }
    }

    fn deserialize_i32<V: Visitor<'de>>(self, visitor: V) -> Result<V::Value, BadColumns> {
        self.whole(visitor)
    }

    fn deserialize_i64<V: Visitor<'de>>(self, visitor: V) -> Result<V::Value, BadColumns> {
        self.whole(visitor)
    }

    fn deserialize_u32<V: Visitor<'de>>(self, visitor: V) -> Result<V::Value, BadColumns> {
        self.whole(visitor)
    }

    fn deserialize_u64<V: Visitor<'de>>(self, visitor: V) -> Result<V::Value, BadColumns> {
        self.whole(visitor)
    }

    fn deserialize_f64<V: Visitor<'de>>(self, visitor: V) -> Result<V::Value, BadColumns> {
        match self.there() {
            Some(Values::Number(values)) => visitor.visit_f64(values.value(self.1)),
            _ => Err(self.refused("a number")),
        }
    }

    fn deserialize_str<V: Visitor<'de>>(self, visitor: V) -> Result<V::Value, BadColumns> {
        match self.there() {
            Some(Values::Text(values)) => visitor.visit_borrowed_str(values.value(self.1)),
            Some(Values::TextView(values)) => visitor.visit_borrowed_str(values.value(self.1)),
            _ => Err(self.refused("a text")),
        }
    }

    fn deserialize_string<V: Visitor<'de>>(self, visitor: V) -> Result<V::Value, BadColumns> {
        self.deserialize_str(visitor)
    }

    fn deserialize_bytes<V: Visitor<'de>>(self, visitor: V) -> Result<V::Value, BadColumns> {
        match self.there() {
            Some(Values::Bytes(values)) => visitor.visit_borrowed_bytes(values.value(self.1)),
            Some(Values::BytesView(values)) => visitor.visit_borrowed_bytes(values.value(self.1)),
            _ => Err(self.refused("bytes")),
        }
    }

    fn deserialize_newtype_struct<V: Visitor<'de>>(
        self,
        name: &'static str,
        visitor: V,
    ) -> Result<V::Value, BadColumns> {
        match (name, self.there()) {
            (DAYS, Some(Values::Day(values))) => {
                visitor.visit_newtype_struct(I32Deserializer::new(values.value(self.1)))
            }
            (MICROSECONDS, Some(Values::Moment(values))) => {
                visitor.visit_newtype_struct(I64Deserializer::new(values.value(self.1)))
            }
            _ => Err(self.refused("a day or a moment")),
        }
    }

    fn deserialize_any<V: Visitor<'de>>(self, _: V) -> Result<V::Value, BadColumns> {
        Err(self.refused("something else"))
    }

    forward_to_deserialize_any! {
        i8 i16 i128 u8 u16 u128 f32 char byte_buf unit unit_struct seq tuple tuple_struct map struct enum identifier
        ignored_any
    }
}

const DAYS: &str = "DaysSince1970";
const MICROSECONDS: &str = "MicrosecondsSince1970";

/// A day as Arrow keeps it.
#[derive(Deserialize)]
struct DaysSince1970(i32);

/// A moment as Arrow keeps it.
#[derive(Deserialize)]
struct MicrosecondsSince1970(i64);

/// A day, for `#[serde(deserialize_with = "day")]`.
///
/// # Errors
/// Where the column holds no days, or the calendar has no such day.
pub fn day<'de, D: Deserializer<'de>>(deserializer: D) -> Result<Date, D::Error> {
    after_epoch(DaysSince1970::deserialize(deserializer)?)
}

/// A day or none.
///
/// # Errors
/// Where the column holds no days, or the calendar has no such day.
pub(crate) fn day_or_none<'de, D: Deserializer<'de>>(
    deserializer: D,
) -> Result<Option<Date>, D::Error> {
    let days = Option::<DaysSince1970>::deserialize(deserializer)?;
    days.map(after_epoch).transpose()
}

fn after_epoch<E: de::Error>(DaysSince1970(days): DaysSince1970) -> Result<Date, E> {
    let span = Span::new().try_days(days).map_err(E::custom)?;
    let epoch = Date::constant(1970, 1, 1);
    epoch.checked_add(span).map_err(E::custom)
}

/// A moment.
///
/// # Errors
/// Where the column holds no moments, or the calendar has no such moment.
pub fn moment<'de, D: Deserializer<'de>>(deserializer: D) -> Result<Timestamp, D::Error> {
    let MicrosecondsSince1970(moment) = MicrosecondsSince1970::deserialize(deserializer)?;
    Timestamp::from_microsecond(moment).map_err(de::Error::custom)
}

#[cfg(test)]
mod tests {
    use std::sync::Arc;

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
        #[serde(deserialize_with = "moment")]
        at: Timestamp,
    }

    fn given(changed: Option<(&str, ArrayRef)>) -> RecordBatch {
        let mut columns: Vec<(&str, ArrayRef)> = vec![
            ("name", Arc::new(StringViewArray::from(vec!["a", "b"]))),
            ("hash", Arc::new(BinaryArray::from(vec![&b"12"[..], b"34"]))),
            ("count", Arc::new(Int64Array::from(vec![7, 8]))),
            ("share", Arc::new(Float64Array::from(vec![Some(0.1), None]))),
            ("on", Arc::new(Date32Array::from(vec![0, 20_000]))),
            (
                "at",
                Arc::new(TimestampMicrosecondArray::from(vec![0, -1]).with_timezone("UTC")),
            ),
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
            at: Timestamp::from_microsecond(-1).unwrap(),
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
            ("count", Arc::new(Date32Array::from(vec![1, 2]))),
            ("count", Arc::new(Int64Array::from(vec![Some(1), None]))),
            ("count", Arc::new(Int64Array::from(vec![1, -1]))),
            ("share", Arc::new(Int32Array::from(vec![1, 2]))),
            ("share", Arc::new(StringArray::from(vec!["1", "2"]))),
            ("on", Arc::new(StringArray::from(vec!["1", "2"]))),
            ("on", Arc::new(Date32Array::from(vec![0, i32::MAX]))),
            ("on", Arc::new(Int32Array::from(vec![0, 1]))),
            ("at", Arc::new(Int64Array::from(vec![0, 1]))),
            ("other", numbers()),
        ] {
            let batch = given(Some((name, column)));
            let refused = rows::<Row<'_>>(&batch).unwrap_err().to_string();
            assert!(refused.contains(name), "{name}: {refused}");
        }
        let batch = given(None);
        let batch = batch.project(&[0, 1, 2, 3]).unwrap();
        let refused = rows::<Row<'_>>(&batch).unwrap_err().to_string();
        assert_eq!(refused, "column on: it is missing");
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
