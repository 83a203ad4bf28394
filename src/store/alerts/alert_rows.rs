//! The rows of the table `alerts`, to and from its columns. What the rows say together is in [`crate::alerts::table`].

use arrow::array::{RecordBatch, new_null_array};
use jiff::Timestamp;
use serde::Deserialize;

use crate::alerts::issued_alert::{Change, IssuedAlert};
use crate::rows::decode;
use crate::rows::schema::Kept;
use crate::rows::table_batch::TableBatch;
use scouting::failure::{Failure, Kind};

/// What a row of the table is.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum RowKind {
    Alert,
    Withdrawal,
    Export,
}

impl RowKind {
    pub(crate) fn word(self) -> &'static str {
        match self {
            RowKind::Alert => "alert",
            RowKind::Withdrawal => "withdrawal",
            RowKind::Export => "export",
        }
    }
}

/// A row as its columns have it.
#[derive(Deserialize)]
struct StoredRow {
    number: i64,
    issue_id: String,
    #[serde(deserialize_with = "decode::moment")]
    issued_at: Timestamp,
    iso_week: String,
    protocol: String,
    replaces: Option<i64>,
    store_version: i64,
    program_version: String,
    files: String,
    headline: String,
    summary: String,
    title: String,
    invented: Option<String>,
    note: Option<String>,
    settings: String,
    protocols: String,
    boundaries_sha256: Option<String>,
    weather_sha256: Option<String>,
    entry: Option<i64>,
    kind: Option<String>,
    public_rows: Option<String>,
    reason: Option<String>,
    season_k: Option<f64>,
    season_k_information: Option<f64>,
    logo_sha256: Option<String>,
    change: Option<String>,
}

/// A row of the table.
pub(crate) struct AlertRow {
    /// Its place in the order of the rows.
    pub(crate) entry: i64,
    /// The word for its kind; `None` in a row of an older program.
    pub(crate) kind: Option<String>,
    /// Why an alert was withdrawn.
    pub(crate) reason: Option<String>,
    /// What else it says, all of it where the row is an alert.
    pub(crate) alert: IssuedAlert,
}

/// The rows of a batch of the table.
pub(crate) fn alert_rows(batch: &RecordBatch) -> Result<Vec<AlertRow>, Failure> {
    let batch = with_every_column(batch)?;
    let rows: Vec<StoredRow> =
        decode::rows(&batch).map_err(|error| damaged(&error.to_string()).caused_by(error))?;
    rows.into_iter().map(StoredRow::read).collect()
}

/// A batch of a table of an older program, with nulls in the columns that it lacks.
fn with_every_column(batch: &RecordBatch) -> Result<RecordBatch, Failure> {
    let columns =
        Kept::Alerts
            .columns()
            .iter()
            .map(|column| match batch.column_by_name(column.name) {
                Some(found) => Ok((column.name, found.clone())),
                None if column.nullable => {
                    let nulls = new_null_array(&column.holds.arrow(), batch.num_rows());
                    Ok((column.name, nulls))
                }
                None => Err(damaged(&format!("it has no column {}", column.name))),
            });
    let columns = columns.collect::<Result<Vec<_>, _>>()?;
    RecordBatch::try_from_iter(columns)
        .map_err(|error| damaged(&error.to_string()).caused_by(error))
}

impl StoredRow {
    fn read(self) -> Result<AlertRow, Failure> {
        let change = self.change()?;
        let public_rows = self.public_rows.map(|text| from_json(&text));
        let alert = IssuedAlert {
            number: self.number,
            issue_id: self.issue_id,
            issued_at: self.issued_at,
            iso_week: self.iso_week,
            protocol: self.protocol,
            replaces: self.replaces,
            change,
            store_version: self.store_version,
            program_version: self.program_version,
            files: from_json(&self.files)?,
            headline: self.headline,
            summary: self.summary,
            title: self.title,
            invented: self.invented,
            note: self.note,
            settings: self.settings,
            protocols: from_json(&self.protocols)?,
            boundaries_sha256: self.boundaries_sha256,
            weather_sha256: self.weather_sha256,
            logo_sha256: self.logo_sha256,
            public_rows: public_rows.transpose()?,
            season_k: self.season_k,
            season_k_information: self.season_k_information,
            withdrawn: None,
        };
        Ok(AlertRow {
            entry: self.entry.unwrap_or(self.number),
            kind: self.kind,
            reason: self.reason,
            alert,
        })
    }

    /// Why the alert replaces another, if it does.
    fn change(&self) -> Result<Option<Change>, Failure> {
        match (self.replaces, self.change.as_deref()) {
            (None, _) => Ok(None),
            (Some(_), Some("update")) => Ok(Some(Change::Update)),
            (Some(_), None | Some("correction")) => {
                Ok(Some(Change::Correction(self.reason.clone())))
            }
            (Some(_), Some(other)) => {
                Err(damaged(&format!("a row is a change of the kind {other:?}")))
            }
        }
    }
}

fn from_json<T: serde::de::DeserializeOwned>(text: &str) -> Result<T, Failure> {
    serde_json::from_str(text).map_err(|error| damaged(&error.to_string()).caused_by(error))
}

pub(crate) fn damaged(what: &str) -> Failure {
    Failure::new(
        Kind::Damaged,
        format!("the table alerts cannot be used: {what}"),
    )
    .mend("restore the store's folder alerts from a backup")
}

/// The one row of an alert, or of what else the table holds.
pub(crate) fn alerts_batch(
    alert: &IssuedAlert,
    entry: i64,
    kind: RowKind,
    reason: Option<&str>,
) -> RecordBatch {
    let json = |value: serde_json::Value| value.to_string();
    let change = alert.change.as_ref();
    let reason = reason.or_else(|| change.and_then(Change::reason));
    let public_rows = alert.public_rows.as_ref();
    TableBatch::of(Kept::Alerts, &[()])
        .long("number", |()| alert.number)
        .same("issue_id", &alert.issue_id)
        .moment("issued_at", |()| alert.issued_at)
        .same("iso_week", &alert.iso_week)
        .same("protocol", &alert.protocol)
        .may_long("replaces", |()| alert.replaces)
        .long("store_version", |()| alert.store_version)
        .same("program_version", &alert.program_version)
        .text("files", |()| json(serde_json::json!(alert.files)))
        .same("headline", &alert.headline)
        .same("summary", &alert.summary)
        .same("title", &alert.title)
        .may_text("invented", |()| alert.invented.as_ref())
        .may_text("note", |()| alert.note.as_ref())
        .same("settings", &alert.settings)
        .text("protocols", |()| json(serde_json::json!(alert.protocols)))
        .may_text("boundaries_sha256", |()| alert.boundaries_sha256.as_ref())
        .may_text("weather_sha256", |()| alert.weather_sha256.as_ref())
        .long("entry", |()| entry)
        .same("kind", kind.word())
        .may_text("public_rows", |()| {
            public_rows.map(|rows| json(serde_json::json!(rows)))
        })
        .may_text("reason", |()| reason)
        .may_number("season_k", |()| alert.season_k)
        .may_number("season_k_information", |()| alert.season_k_information)
        .may_text("logo_sha256", |()| alert.logo_sha256.as_ref())
        .may_text("change", |()| change.map(Change::word))
        .finish()
}
