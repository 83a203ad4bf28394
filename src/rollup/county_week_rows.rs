//! The columns of `county_week` by name, in whatever width of its kind the engine hands one out.
//!
//! Decodes only; whether a row makes sense is for [`super::county_week`].

use std::collections::HashMap;

use arrow::array::{Array, ArrayRef, AsArray, RecordBatch};
use arrow::compute::cast;
use arrow::datatypes::{DataType, Date32Type, Float64Type, Int64Type};
use jiff::ToSpan;
use jiff::civil::Date;

use crate::failure::{Failure, Kind};

const EPOCH: Date = Date::constant(1970, 1, 1);

/// What a column holds, and whether it may be null.
#[derive(Clone, Copy)]
enum Holds {
    Text,
    TextOrNone,
    Whole { may_be_null: bool },
    Float,
    Day,
    Truth,
}

const COUNT: Holds = Holds::Whole { may_be_null: true };

/// The columns that are read; others are passed over.
const COLUMNS: [(&str, Holds); 23] = [
    ("county_id", Holds::Text),
    ("county_name", Holds::Text),
    ("season", Holds::Whole { may_be_null: false }),
    ("iso_week", Holds::Text),
    ("protocol", Holds::Text),
    ("fields_visited", COUNT),
    ("fields_at_threshold", COUNT),
    ("fields_near_threshold", COUNT),
    ("share_at_threshold", Holds::Float),
    ("share_low", Holds::Float),
    ("share_high", Holds::Float),
    ("share_smoothed", Holds::Float),
    ("mean_pressure", Holds::Float),
    ("median_pressure", Holds::Float),
    ("p90_pressure", Holds::Float),
    ("max_pressure", Holds::Float),
    ("area_share_at_threshold", Holds::Float),
    ("fields_outside_stage", COUNT),
    ("fields_with_assumed_economics", COUNT),
    ("window_opens", Holds::Day),
    ("window_closes", Holds::Day),
    ("window_basis", Holds::TextOrNone),
    ("suppressed", Holds::Truth),
];

/// The columns of a batch, each cast to one type.
pub(super) struct Columns {
    by_name: HashMap<&'static str, ArrayRef>,
}

impl Columns {
    /// # Errors
    /// A [`Failure`] that names the column, if one is missing, of another kind, or null where it must not be.
    pub(super) fn of(batch: &RecordBatch) -> Result<Columns, Failure> {
        let columns = COLUMNS.into_iter().map(|(name, holds)| {
            let array = match holds {
                Holds::Text => column(
                    batch,
                    name,
                    "text",
                    DataType::is_string,
                    &DataType::Utf8,
                    false,
                ),
                Holds::TextOrNone => {
                    let fits = DataType::is_string;
                    column(batch, name, "text", fits, &DataType::Utf8, true)
                }
                Holds::Whole { may_be_null } => {
                    let fits = DataType::is_integer;
                    column(
                        batch,
                        name,
                        "whole number",
                        fits,
                        &DataType::Int64,
                        may_be_null,
                    )
                }
                Holds::Float => {
                    let fits = DataType::is_floating;
                    column(
                        batch,
                        name,
                        "floating number",
                        fits,
                        &DataType::Float64,
                        true,
                    )
                }
                Holds::Day => {
                    let fits =
                        |kind: &DataType| matches!(kind, DataType::Date32 | DataType::Date64);
                    column(batch, name, "date", fits, &DataType::Date32, true)
                }
                Holds::Truth => {
                    let fits = |kind: &DataType| matches!(kind, DataType::Boolean);
                    column(batch, name, "boolean", fits, &DataType::Boolean, false)
                }
            };
            Ok((name, array?))
        });
        Ok(Columns {
            by_name: columns.collect::<Result<_, Failure>>()?,
        })
    }

    pub(super) fn text(&self, name: &str, row: usize) -> String {
        self.by_name[name].as_string::<i32>().value(row).to_owned()
    }

    pub(super) fn text_or_none(&self, name: &str, row: usize) -> Option<String> {
        let values = self.by_name[name].as_string::<i32>();
        values.is_valid(row).then(|| values.value(row).to_owned())
    }

    pub(super) fn count(&self, name: &str, row: usize) -> Option<i64> {
        let values = self.by_name[name].as_primitive::<Int64Type>();
        values.is_valid(row).then(|| values.value(row))
    }

    pub(super) fn float(&self, name: &str, row: usize) -> Option<f64> {
        let values = self.by_name[name].as_primitive::<Float64Type>();
        values.is_valid(row).then(|| values.value(row))
    }

    pub(super) fn day(&self, name: &str, row: usize) -> Option<Date> {
        let values = self.by_name[name].as_primitive::<Date32Type>();
        let days = values.is_valid(row).then(|| values.value(row))?;
        EPOCH.checked_add(days.days()).ok()
    }

    pub(super) fn truth(&self, name: &str, row: usize) -> bool {
        self.by_name[name].as_boolean().value(row)
    }
}

/// A column by name, cast to `wanted`. The cast is only tried within one kind of type: Arrow would
/// turn text that is no number into null without a word.
fn column(
    batch: &RecordBatch,
    name: &str,
    kind: &str,
    fits: impl Fn(&DataType) -> bool,
    wanted: &DataType,
    may_be_null: bool,
) -> Result<ArrayRef, Failure> {
    let broken = |what: String| Failure::new(Kind::Stage, what).at("table county_week");
    let found = batch
        .column_by_name(name)
        .ok_or_else(|| broken(format!("column {name} is missing")))?;
    // A column of nothing but null has no type to hold it to.
    let untyped = may_be_null && found.data_type().is_null();
    if !untyped && !fits(found.data_type()) {
        let other = found.data_type();
        return Err(broken(format!("column {name} is {other}, not a {kind}")));
    }
    let column = cast(found, wanted).map_err(|error| broken(format!("column {name}: {error}")))?;
    if !may_be_null && column.null_count() > 0 {
        return Err(broken(format!("column {name} has a null")));
    }
    if column.null_count() > found.logical_null_count() {
        return Err(broken(format!("column {name} has a number beyond 64 bits")));
    }
    Ok(column)
}
