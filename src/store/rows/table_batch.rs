//! Builds a batch of a kept table, each column by its name.
//!
//! What is not in [`crate::rows::schema`] under this name and with this type is refused at once, and so is a column that is
//! left out: of two columns of one type nothing else would notice that they were swapped.

use std::sync::Arc;

use arrow::array::{
    ArrayRef, BinaryArray, BooleanArray, Date32Array, Float64Array, Int32Array, Int64Array,
    RecordBatch, StringArray, StringBuilder, TimestampMicrosecondArray,
};
use jiff::Timestamp;
use jiff::civil::Date;

use crate::rows::schema::{Kept, arrow_schema};

/// The columns of a table, being filled.
pub(crate) struct NamedColumns {
    kept: Kept,
    /// In the order of the schema.
    columns: Vec<Option<ArrayRef>>,
}

impl NamedColumns {
    pub(crate) fn of(kept: Kept) -> NamedColumns {
        NamedColumns {
            kept,
            columns: vec![None; kept.columns().len()],
        }
    }

    pub(crate) fn put(mut self, name: &str, column: ArrayRef) -> NamedColumns {
        let broken = self.placed(name, column).err();
        assert_eq!(broken, None, "a batch keeps to its table");
        self
    }

    pub(crate) fn finish(self) -> RecordBatch {
        assert_eq!(self.missing(), None, "a batch has all of its table");
        let columns = self.columns.into_iter().flatten().collect();
        RecordBatch::try_new(arrow_schema(self.kept.columns()), columns)
            .expect("each column has the table's type and as many rows")
    }

    /// Puts a column in its place; the reason if it has none.
    fn placed(&mut self, name: &str, column: ArrayRef) -> Result<(), String> {
        let table = self.kept.name();
        let mut known = self.kept.columns().iter();
        let place = known.position(|known| known.name == name);
        let place = place.ok_or_else(|| format!("the table {table} has no column {name}"))?;
        let wanted = self.kept.columns()[place].holds.arrow();
        let found = column.data_type();
        if *found != wanted {
            return Err(format!("column {name} of {table} is {wanted}, not {found}"));
        }
        match self.columns[place].replace(column) {
            Some(_) => Err(format!("column {name} of {table} is given twice")),
            None => Ok(()),
        }
    }

    /// The first column that is not given.
    fn missing(&self) -> Option<&'static str> {
        let named = self.kept.columns().iter().zip(&self.columns);
        let mut missing = named.filter(|(_, column)| column.is_none());
        missing.next().map(|(known, _)| known.name)
    }
}

/// A batch of a table, its columns being filled from rows.
pub(crate) struct TableBatch<'a, R> {
    rows: &'a [R],
    columns: NamedColumns,
}

impl<'a, R> TableBatch<'a, R> {
    pub(crate) fn of(kept: Kept, rows: &'a [R]) -> TableBatch<'a, R> {
        TableBatch {
            rows,
            columns: NamedColumns::of(kept),
        }
    }

    /// A column that is made elsewhere.
    pub(crate) fn put(self, name: &str, column: ArrayRef) -> TableBatch<'a, R> {
        let columns = self.columns.put(name, column);
        TableBatch { columns, ..self }
    }

    /// The same text in every row.
    pub(crate) fn same(self, name: &str, value: &str) -> TableBatch<'a, R> {
        let column = repeated(value, self.rows.len());
        self.put(name, column)
    }

    pub(crate) fn text<T: AsRef<str>>(self, name: &str, of: impl Fn(&'a R) -> T) -> Self {
        let column = StringArray::from_iter_values(self.rows.iter().map(of));
        self.put(name, Arc::new(column))
    }

    pub(crate) fn may_text<T>(self, name: &str, of: impl Fn(&'a R) -> Option<T>) -> Self
    where
        T: AsRef<str>,
    {
        let column: StringArray = self.rows.iter().map(of).collect();
        self.put(name, Arc::new(column))
    }

    pub(crate) fn bytes<T: AsRef<[u8]>>(self, name: &str, of: impl Fn(&'a R) -> T) -> Self {
        let column = BinaryArray::from_iter_values(self.rows.iter().map(of));
        self.put(name, Arc::new(column))
    }

    pub(crate) fn whole(self, name: &str, of: impl Fn(&'a R) -> i32) -> Self {
        let column = Int32Array::from_iter_values(self.rows.iter().map(of));
        self.put(name, Arc::new(column))
    }

    pub(crate) fn may_whole(self, name: &str, of: impl Fn(&'a R) -> Option<i32>) -> Self {
        let column: Int32Array = self.rows.iter().map(of).collect();
        self.put(name, Arc::new(column))
    }

    pub(crate) fn long(self, name: &str, of: impl Fn(&'a R) -> i64) -> Self {
        let column = Int64Array::from_iter_values(self.rows.iter().map(of));
        self.put(name, Arc::new(column))
    }

    pub(crate) fn may_long(self, name: &str, of: impl Fn(&'a R) -> Option<i64>) -> Self {
        let column: Int64Array = self.rows.iter().map(of).collect();
        self.put(name, Arc::new(column))
    }

    pub(crate) fn number(self, name: &str, of: impl Fn(&'a R) -> f64) -> Self {
        let column = Float64Array::from_iter_values(self.rows.iter().map(of));
        self.put(name, Arc::new(column))
    }

    pub(crate) fn may_number(self, name: &str, of: impl Fn(&'a R) -> Option<f64>) -> Self {
        let column: Float64Array = self.rows.iter().map(of).collect();
        self.put(name, Arc::new(column))
    }

    pub(crate) fn truth(self, name: &str, of: impl Fn(&'a R) -> bool) -> Self {
        let column: BooleanArray = self.rows.iter().map(|row| Some(of(row))).collect();
        self.put(name, Arc::new(column))
    }

    pub(crate) fn day(self, name: &str, of: impl Fn(&'a R) -> Date) -> Self {
        let epoch = Date::constant(1970, 1, 1);
        let days = self.rows.iter().map(|row| (of(row) - epoch).get_days());
        self.put(name, Arc::new(Date32Array::from_iter_values(days)))
    }

    pub(crate) fn may_day(self, name: &str, of: impl Fn(&'a R) -> Option<Date>) -> Self {
        let epoch = Date::constant(1970, 1, 1);
        let days = self.rows.iter().map(of);
        let days = days.map(|day| day.map(|day| (day - epoch).get_days()));
        self.put(name, Arc::new(days.collect::<Date32Array>()))
    }

    pub(crate) fn moment(self, name: &str, of: impl Fn(&'a R) -> Timestamp) -> Self {
        let moments = self.rows.iter().map(|row| of(row).as_microsecond());
        let column = TimestampMicrosecondArray::from_iter_values(moments).with_timezone("UTC");
        self.put(name, Arc::new(column))
    }

    pub(crate) fn finish(self) -> RecordBatch {
        self.columns.finish()
    }
}

/// A column with the same text in every row.
pub(crate) fn repeated(value: &str, rows: usize) -> ArrayRef {
    let mut texts = StringBuilder::with_capacity(rows, rows * value.len());
    for _ in 0..rows {
        texts.append_value(value);
    }
    Arc::new(texts.finish())
}

#[cfg(test)]
mod tests {
    use super::*;

    fn given() -> TableBatch<'static, i64> {
        TableBatch::of(Kept::HeldClosed, &[1, 2])
            .same("load_id", "load")
            .bytes("record_sha256", |row| [*row as u8; 32])
            .text("submission_sha256", i64::to_string)
            .long("line", |row| *row)
            .text("how", |_| "dropped")
            .may_text("visit_id", |_| None::<String>)
            .may_whole("revision", |_| None)
            .may_text("replaced_by", |_| None::<String>)
            .may_text("reason", |_| Some("why"))
            .may_text("who", |_| Some("who"))
    }

    #[test]
    fn columns_are_put_in_the_order_of_the_table() {
        let now = |_: &i64| Timestamp::UNIX_EPOCH;
        let batch = given().moment("closed_at", now).finish();
        assert_eq!(*batch.schema(), *arrow_schema(Kept::HeldClosed.columns()));
        assert_eq!(batch.num_rows(), 2);
    }

    #[test]
    fn a_column_that_is_left_out_is_named() {
        assert_eq!(given().columns.missing(), Some("closed_at"));
    }

    #[test]
    fn a_column_without_a_place_is_named() {
        let longs: ArrayRef = Arc::new(Int64Array::from(vec![1, 2]));
        for (name, reason) in [
            ("where", "the table held_closed has no column where"),
            ("line", "column line of held_closed is given twice"),
            (
                "closed_at",
                "column closed_at of held_closed is Timestamp(µs, \"UTC\"), not Int64",
            ),
        ] {
            let mut columns = given().columns;
            assert_eq!(columns.placed(name, longs.clone()), Err(reason.to_owned()));
        }
    }
}
