//! One column of a kept table: its name, its type and what it says.

use std::sync::Arc;

use arrow::datatypes::{DataType, Field, TimeUnit};

/// One column of a kept table.
#[derive(Debug, Clone, Copy)]
pub struct Column {
    /// Name, with the unit at its end where there is one.
    pub name: &'static str,
    /// What it holds.
    pub holds: Holds,
    /// Whether it may be null.
    pub nullable: bool,
    /// One line for the reader.
    pub description: &'static str,
}

/// What a column holds.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
#[allow(missing_docs)]
pub enum Holds {
    Text,
    Bytes,
    Whole32,
    Whole64,
    Number,
    Truth,
    Day,
    Moment,
    Wholes,
}

impl Holds {
    /// The Arrow type.
    pub fn arrow(self) -> DataType {
        match self {
            Holds::Text => DataType::Utf8,
            Holds::Bytes => DataType::Binary,
            Holds::Whole32 => DataType::Int32,
            Holds::Whole64 => DataType::Int64,
            Holds::Number => DataType::Float64,
            Holds::Truth => DataType::Boolean,
            Holds::Day => DataType::Date32,
            Holds::Moment => DataType::Timestamp(TimeUnit::Microsecond, Some("UTC".into())),
            // Delta names the items of a list "element".
            Holds::Wholes => DataType::List(Arc::new(Field::new("element", DataType::Int32, true))),
        }
    }
}

pub(crate) const fn must(name: &'static str, holds: Holds, description: &'static str) -> Column {
    Column {
        name,
        holds,
        nullable: false,
        description,
    }
}

pub(crate) const fn may(name: &'static str, holds: Holds, description: &'static str) -> Column {
    Column {
        name,
        holds,
        nullable: true,
        description,
    }
}
