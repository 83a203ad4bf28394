//! The issued alerts: one row each, append-only, numbered without a gap.
//!
//! A row names its files by SHA-256 and keeps all that they were made from, so that the same bytes can be
//! built again. What a file says is not known here. The commit of a row is bound to the version of the
//! table that its number was chosen on, so of two that choose the same number one is refused.

use std::collections::BTreeMap;
use std::sync::Arc;

use arrow::array::{Array, ArrayRef, AsArray, Int64Array, RecordBatch, StringArray};
use arrow::compute::cast;
use arrow::datatypes::{DataType, Int64Type};
use datafusion::prelude::SessionContext;
use deltalake::DeltaTable;
use jiff::Timestamp;
use serde::{Deserialize, Serialize};

use super::append::{Sealed, commit_alert};
use super::rows::{batch, moments};
use super::schema::{Column, Holds, may, must};
use super::snapshot::{register, unreadable};
use super::tables::{Kept, Store};
use crate::failure::{Failure, Kind};

/// One row an alert that was issued: what it said, and all that its files were made from.
///
/// Append-only. A row counts as it stands; it is committed after its files are on the disk.
pub const ALERTS: &[Column] = &[
    must("number", Holds::Whole64, "1, 2, 3 … of the workspace"),
    must(
        "issue_id",
        Holds::Text,
        "identity of the attempt that issued it, a UUID",
    ),
    must("issued_at", Holds::Moment, "when it was issued"),
    must("iso_week", Holds::Text, "ISO 8601 week, as 2026-W30"),
    must("protocol", Holds::Text, "id of the protocol"),
    may(
        "replaces",
        Holds::Whole64,
        "of a correction: number of the alert that it replaces",
    ),
    must(
        "store_version",
        Holds::Whole64,
        "version of the receipts that its figures were rolled up from",
    ),
    must("program_version", Holds::Text, "version of bractline"),
    must(
        "files",
        Holds::Text,
        "JSON array of its files: name, bytes, sha256 (hexadecimal)",
    ),
    must("headline", Holds::Text, "its headline"),
    must("summary", Holds::Text, "its summary, plain text"),
    must("title", Holds::Text, "title of the protocol"),
    may(
        "invented",
        Holds::Text,
        "the notice that its region is invented, if it is",
    ),
    may(
        "note",
        Holds::Text,
        "the entomologist's own words, Markdown as written",
    ),
    must("settings", Holds::Text, "text of bractline.toml as it was"),
    must(
        "protocols",
        Holds::Text,
        "JSON object of the protocol files that its figures rest on: id, text",
    ),
    may(
        "boundaries_sha256",
        Holds::Text,
        "SHA-256 of the user's own boundary file, hexadecimal; null for built-in counties",
    ),
    may(
        "weather_sha256",
        Holds::Text,
        "fingerprint of the weather that the alert rests on; null while none is used",
    ),
];

/// A file of an issued alert.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct FrozenFile {
    /// Its plain name.
    pub name: String,
    /// Its size.
    pub bytes: u64,
    /// SHA-256 of its bytes, hexadecimal.
    pub sha256: String,
}

/// An issued alert, as its row says it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct IssuedAlert {
    /// 1, 2, 3 … of the workspace.
    pub number: i64,
    /// Identity of the attempt that issued it.
    pub issue_id: String,
    /// When it was issued.
    pub issued_at: Timestamp,
    /// ISO 8601 week, as `2026-W30`.
    pub iso_week: String,
    /// Id of the protocol.
    pub protocol: String,
    /// Of a correction: the number that it replaces.
    pub replaces: Option<i64>,
    /// Version of the store that its figures were rolled up from.
    pub store_version: i64,
    /// Version of bractline.
    pub program_version: String,
    /// Its files.
    pub files: Vec<FrozenFile>,
    /// Its headline.
    pub headline: String,
    /// Its summary, plain text.
    pub summary: String,
    /// Title of the protocol.
    pub title: String,
    /// The notice that its region is invented.
    pub invented: Option<String>,
    /// The entomologist's own words, Markdown as written.
    pub note: Option<String>,
    /// Text of `bractline.toml` as it was.
    pub settings: String,
    /// Texts of the protocol files that its figures rest on, by id.
    pub protocols: BTreeMap<String, String>,
    /// SHA-256 of the user's own boundary file.
    pub boundaries_sha256: Option<String>,
    /// Fingerprint of the weather that it rests on.
    pub weather_sha256: Option<String>,
}

/// The table of alerts at the version that the next number is chosen on.
pub struct AlertBook {
    table: DeltaTable,
    /// The alerts of that version, by number.
    pub issued: Vec<IssuedAlert>,
}

impl AlertBook {
    /// Opens the newest version; a store without the table gets it.
    pub async fn open(store: &Store) -> Result<AlertBook, Failure> {
        let table = store.table_or_made(Kept::Alerts).await?;
        let issued = rows_of(&table).await?;
        Ok(AlertBook { table, issued })
    }

    /// The number of the next alert.
    pub fn next_number(&self) -> i64 {
        self.issued.last().map_or(0, |alert| alert.number) + 1
    }

    /// Writes the row if nobody wrote one meanwhile.
    pub async fn enter(&self, store: &Store, alert: &IssuedAlert) -> Result<Sealed, Failure> {
        assert_eq!(alert.number, self.next_number(), "numbers leave no gap");
        commit_alert(store, &self.table, alert).await
    }
}

/// The alerts that were issued, by number; none where the store has no such table.
pub async fn issued_alerts(store: &Store) -> Result<Vec<IssuedAlert>, Failure> {
    match store.has(Kept::Alerts).await {
        true => rows_of(&store.table(Kept::Alerts).await?).await,
        false => Ok(Vec::new()),
    }
}

/// The identity that the table of alerts got when it was made, and keeps wherever the workspace goes.
pub async fn identity_of_alerts(store: &Store) -> Result<String, Failure> {
    let table = store.table_or_made(Kept::Alerts).await?;
    let state = table
        .snapshot()
        .map_err(|error| super::tables::refused("open", Kept::Alerts, &error))?;
    Ok(state.metadata().id().to_owned())
}

async fn rows_of(table: &DeltaTable) -> Result<Vec<IssuedAlert>, Failure> {
    let session = SessionContext::new();
    register(&session, Kept::Alerts, table).await?;
    let names: Vec<&str> = Kept::Alerts
        .columns()
        .iter()
        .map(|column| column.name)
        .collect();
    let query = format!("select {} from alerts order by number", names.join(", "));
    let plan = session
        .sql(&query)
        .await
        .map_err(|error| unreadable(&error))?;
    let batches = plan.collect().await.map_err(|error| unreadable(&error))?;
    let mut issued = Vec::new();
    for batch in &batches {
        let columns = Columns::of(batch)?;
        for row in 0..batch.num_rows() {
            issued.push(columns.row(row)?);
        }
    }
    Ok(issued)
}

/// The columns of a batch by name, texts as texts and the rest as whole numbers.
struct Columns(BTreeMap<&'static str, ArrayRef>);

impl Columns {
    fn of(batch: &RecordBatch) -> Result<Columns, Failure> {
        let mut columns = BTreeMap::new();
        for column in Kept::Alerts.columns() {
            let found = batch
                .column_by_name(column.name)
                .ok_or_else(|| damaged(&format!("it has no column {}", column.name)))?;
            let wanted = match column.holds.arrow() {
                DataType::Utf8 => DataType::Utf8,
                _ => DataType::Int64,
            };
            let cast = cast(found, &wanted).map_err(|error| damaged(&error.to_string()))?;
            columns.insert(column.name, cast);
        }
        Ok(Columns(columns))
    }

    fn row(&self, row: usize) -> Result<IssuedAlert, Failure> {
        let may = |name: &str| {
            let texts = self.0[name].as_string::<i32>();
            texts.is_valid(row).then(|| texts.value(row).to_owned())
        };
        let text = |name: &str| may(name).unwrap_or_default();
        let may_count = |name: &str| {
            let counts = self.0[name].as_primitive::<Int64Type>();
            counts.is_valid(row).then(|| counts.value(row))
        };
        let count = |name: &str| may_count(name).unwrap_or_default();
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
        })
    }
}

fn from_json<'a, T: Deserialize<'a>>(text: &'a str) -> Result<T, Failure> {
    serde_json::from_str(text).map_err(|error| damaged(&error.to_string()))
}

fn damaged(what: &str) -> Failure {
    Failure::new(
        Kind::Damaged,
        format!("the table alerts cannot be used: {what}"),
    )
    .mend("restore the store's folder alerts from a backup")
}

/// The one row of an alert.
pub(super) fn alerts_batch(alert: &IssuedAlert) -> RecordBatch {
    let text = |value: &str| -> ArrayRef {
        Arc::new(StringArray::from_iter_values(std::iter::once(value)))
    };
    let may = |value: &Option<String>| -> ArrayRef {
        Arc::new(StringArray::from(vec![value.as_deref()]))
    };
    let count = |value: Option<i64>| -> ArrayRef { Arc::new(Int64Array::from(vec![value])) };
    let json = |value: serde_json::Value| text(&value.to_string());
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
    ];
    batch(Kept::Alerts, columns)
}
