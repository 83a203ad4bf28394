//! The rows of the table `alerts`, to and from its columns. What the rows say together is in [`super::alerts`].

use std::collections::BTreeMap;
use std::sync::Arc;

use arrow::array::{
    Array, ArrayRef, AsArray, Int64Array, RecordBatch, StringArray, new_null_array,
};
use arrow::compute::cast;
use arrow::datatypes::{DataType, Int64Type};
use jiff::Timestamp;

use super::alerts::IssuedAlert;
use super::rows::{batch, moments};
use super::schema::Kept;
use crate::failure::{Failure, Kind};

/// What a row of the table is.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum RowKind {
    Alert,
    Withdrawal,
    Export,
}

impl RowKind {
    pub(super) fn word(self) -> &'static str {
        match self {
            RowKind::Alert => "alert",
            RowKind::Withdrawal => "withdrawal",
            RowKind::Export => "export",
        }
    }
}

/// The columns of a batch by name, texts as texts and the rest as whole numbers.
pub(super) struct Columns(BTreeMap<&'static str, ArrayRef>);

impl Columns {
    pub(super) fn of(batch: &RecordBatch) -> Result<Columns, Failure> {
        let mut columns = BTreeMap::new();
        for column in Kept::Alerts.columns() {
            let wanted = match column.holds.arrow() {
                DataType::Utf8 => DataType::Utf8,
                _ => DataType::Int64,
            };
            let found = match batch.column_by_name(column.name) {
                Some(found) => found.clone(),
                // A table of an older program.
                None if column.nullable => new_null_array(&wanted, batch.num_rows()),
                None => return Err(damaged(&format!("it has no column {}", column.name))),
            };
            let cast = cast(&found, &wanted).map_err(|error| damaged(&error.to_string()))?;
            columns.insert(column.name, cast);
        }
        Ok(Columns(columns))
    }

    pub(super) fn may_text(&self, name: &str, row: usize) -> Option<String> {
        let texts = self.0[name].as_string::<i32>();
        texts.is_valid(row).then(|| texts.value(row).to_owned())
    }

    pub(super) fn may_count(&self, name: &str, row: usize) -> Option<i64> {
        let counts = self.0[name].as_primitive::<Int64Type>();
        counts.is_valid(row).then(|| counts.value(row))
    }

    pub(super) fn row(&self, row: usize) -> Result<IssuedAlert, Failure> {
        let may = |name: &str| self.may_text(name, row);
        let text = |name: &str| may(name).unwrap_or_default();
        let may_count = |name: &str| self.may_count(name, row);
        let count = |name: &str| may_count(name).unwrap_or_default();
        let public_rows = may("public_rows").map(|text| from_json(&text));
        Ok(IssuedAlert {
            number: count("number"),
            issue_id: text("issue_id"),
            issued_at: Timestamp::from_microsecond(count("issued_at"))
                .map_err(|error| damaged(&error.to_string()))?,
            iso_week: text("iso_week"),
            protocol: text("protocol"),
            replaces: may_count("replaces"),
            store_version: count("store_version"),
            program_version: text("program_version"),
            files: from_json(&text("files"))?,
            headline: text("headline"),
            summary: text("summary"),
            title: text("title"),
            invented: may("invented"),
            note: may("note"),
            settings: text("settings"),
            protocols: from_json(&text("protocols"))?,
            boundaries_sha256: may("boundaries_sha256"),
            weather_sha256: may("weather_sha256"),
            public_rows: public_rows.transpose()?,
            withdrawn: None,
        })
    }
}

fn from_json<T: serde::de::DeserializeOwned>(text: &str) -> Result<T, Failure> {
    serde_json::from_str(text).map_err(|error| damaged(&error.to_string()))
}

pub(super) fn damaged(what: &str) -> Failure {
    Failure::new(
        Kind::Damaged,
        format!("the table alerts cannot be used: {what}"),
    )
    .mend("restore the store's folder alerts from a backup")
}

/// The one row of an alert, or of what else the table holds.
pub(super) fn alerts_batch(
    alert: &IssuedAlert,
    entry: i64,
    kind: RowKind,
    reason: Option<&String>,
) -> RecordBatch {
    let text = |value: &str| -> ArrayRef {
        Arc::new(StringArray::from_iter_values(std::iter::once(value)))
    };
    let may = |value: &Option<String>| -> ArrayRef {
        Arc::new(StringArray::from(vec![value.as_deref()]))
    };
    let count = |value: Option<i64>| -> ArrayRef { Arc::new(Int64Array::from(vec![value])) };
    let json = |value: serde_json::Value| text(&value.to_string());
    let public_rows = alert.public_rows.as_ref();
    let public_rows = public_rows.map(|rows| serde_json::json!(rows).to_string());
    let columns = vec![
        count(Some(alert.number)),
        text(&alert.issue_id),
        moments([alert.issued_at].into_iter()),
        text(&alert.iso_week),
        text(&alert.protocol),
        count(alert.replaces),
        count(Some(alert.store_version)),
        text(&alert.program_version),
        json(serde_json::json!(alert.files)),
        text(&alert.headline),
        text(&alert.summary),
        text(&alert.title),
        may(&alert.invented),
        may(&alert.note),
        text(&alert.settings),
        json(serde_json::json!(alert.protocols)),
        may(&alert.boundaries_sha256),
        may(&alert.weather_sha256),
        count(Some(entry)),
        text(kind.word()),
        may(&public_rows),
        may(&reason.cloned()),
    ];
    batch(Kept::Alerts, columns)
}
