//! The issued alerts, append-only, numbered without a gap; and in the same table what else was published or taken back:
//! withdrawals of alerts, and public rows that an export published.
//!
//! One table, since its order decides which rows were public first. A row names its files by SHA-256 and keeps all that
//! they were made from, so that the same bytes can be built again. What a file says is not known here. The commit of a row
//! is bound to the version of the table that its number was chosen on, so of two that choose the same number one is
//! refused.

use std::collections::BTreeMap;

use datafusion::prelude::SessionContext;
use deltalake::DeltaTable;
use jiff::Timestamp;

use crate::alerts::alert_rows::{AlertRow, RowKind, alert_rows, alerts_batch, damaged};
use crate::alerts::issued_alert::{IssuedAlert, Withdrawn};
use crate::delta::append::{Sealed, commit_alert};
use crate::delta::snapshot::register;
use crate::delta::tables::Store;
use crate::rows::query_rows::unreadable;
use crate::rows::schema::Kept;
use disclosure::editions::{Entry, Published};
use scouting::failure::Failure;

/// What an entry of the table brought or took back, in the order of the entries.
#[derive(Debug, Clone, PartialEq)]
enum Event {
    /// Public rows.
    Rows {
        /// Number of the alert that brought them; `None` of an export.
        number: Option<i64>,
        /// The version of the store that they came from.
        store_version: i64,
        /// The rows.
        entries: Vec<Entry>,
    },
    /// The withdrawal of an alert.
    Withdrawal(i64),
}

/// All that the table says.
#[derive(Debug, Clone, Default)]
struct Publications {
    alerts: Vec<IssuedAlert>,
    events: Vec<Event>,
    last_entry: i64,
}

/// Which of the rows that became public count.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Until {
    /// All.
    Now,
    /// Those that were public before the alert with this number.
    Before(i64),
    /// Those that were public once this alert was issued. What was withdrawn since counts as withdrawn.
    With(i64),
    /// Those that came from this version of the store or an earlier one. What was withdrawn since counts as withdrawn.
    Version(i64),
}

impl Until {
    /// Of a version that is named, or all.
    pub fn version(named: Option<i64>) -> Until {
        named.map_or(Until::Now, Until::Version)
    }
}

impl Publications {
    /// The public rows in the order in which they became it.
    fn published(&self, until: Until) -> Vec<Published> {
        let mut rows: Vec<(Option<i64>, Published)> = Vec::new();
        // Whether the alert that is named was met.
        let mut is_past = false;
        for event in &self.events {
            match event {
                Event::Rows {
                    number,
                    store_version,
                    entries,
                } => {
                    let counts = match until {
                        Until::Now => true,
                        Until::Before(named) => {
                            is_past |= number.is_some_and(|number| number >= named);
                            if is_past {
                                break;
                            }
                            true
                        }
                        Until::With(named) => {
                            let counts = !is_past;
                            is_past |= *number == Some(named);
                            counts
                        }
                        Until::Version(version) => *store_version <= version,
                    };
                    if counts {
                        rows.extend(entries.iter().map(|entry| {
                            let published = Published {
                                entry: entry.clone(),
                                withdrawn: false,
                            };
                            (*number, published)
                        }));
                    }
                }
                Event::Withdrawal(number) => {
                    for (_, row) in rows.iter_mut().filter(|(of, _)| *of == Some(*number)) {
                        row.withdrawn = true;
                    }
                }
            }
        }
        rows.into_iter().map(|(_, row)| row).collect()
    }
}

/// The table of alerts at the version that the next number is chosen on.
pub struct AlertBook {
    table: DeltaTable,
    publications: Publications,
}

impl AlertBook {
    /// Opens the newest version; a store without the table gets it, and one of an older program the columns that it
    /// lacks.
    pub async fn open(store: &Store) -> Result<AlertBook, Failure> {
        let table = store.table_with_columns(Kept::Alerts).await?;
        let publications = rows_of(&table).await?;
        Ok(AlertBook {
            table,
            publications,
        })
    }

    /// The alerts of that version, by number.
    pub fn issued(&self) -> &[IssuedAlert] {
        &self.publications.alerts
    }

    /// The number of the next alert.
    pub fn next_number(&self) -> i64 {
        self.issued().last().map_or(0, |alert| alert.number) + 1
    }

    /// The rows that are public, in the order in which they became it.
    pub fn published(&self) -> Vec<Published> {
        self.publications.published(Until::Now)
    }

    /// Writes the row if nobody wrote one meanwhile.
    pub async fn enter(&self, store: &Store, alert: &IssuedAlert) -> Result<Sealed, Failure> {
        assert_eq!(alert.number, self.next_number(), "numbers leave no gap");
        self.commit(store, RowKind::Alert, alert, None).await
    }

    /// Withdraws an alert, if nobody wrote a row meanwhile.
    pub async fn withdraw(
        &self,
        store: &Store,
        number: i64,
        withdrawn: &Withdrawn,
    ) -> Result<Sealed, Failure> {
        let row = nothing_issued(number, withdrawn.at);
        let reason = Some(&*withdrawn.reason);
        self.commit(store, RowKind::Withdrawal, &row, reason).await
    }

    /// Makes rows of a version of the store public without an alert, if nobody wrote a row meanwhile.
    pub async fn export(
        &self,
        store: &Store,
        rows: Vec<Entry>,
        store_version: i64,
        at: Timestamp,
    ) -> Result<Sealed, Failure> {
        let row = IssuedAlert {
            store_version,
            public_rows: Some(rows),
            ..nothing_issued(0, at)
        };
        self.commit(store, RowKind::Export, &row, None).await
    }

    async fn commit(
        &self,
        store: &Store,
        kind: RowKind,
        row: &IssuedAlert,
        reason: Option<&str>,
    ) -> Result<Sealed, Failure> {
        let entry = self.publications.last_entry + 1;
        let batch = alerts_batch(row, entry, kind, reason);
        commit_alert(store, &self.table, batch).await
    }
}

/// A row that is no alert.
fn nothing_issued(number: i64, at: Timestamp) -> IssuedAlert {
    IssuedAlert {
        number,
        issue_id: String::new(),
        issued_at: at,
        iso_week: String::new(),
        protocol: String::new(),
        replaces: None,
        change: None,
        store_version: 0,
        program_version: env!("CARGO_PKG_VERSION").to_owned(),
        files: Vec::new(),
        headline: String::new(),
        summary: String::new(),
        title: String::new(),
        invented: None,
        note: None,
        settings: String::new(),
        protocols: BTreeMap::new(),
        boundaries_sha256: None,
        weather_sha256: None,
        logo_sha256: None,
        public_rows: None,
        season_k: None,
        season_k_information: None,
        withdrawn: None,
    }
}

async fn publications(store: &Store) -> Result<Publications, Failure> {
    match store.has(Kept::Alerts).await {
        true => rows_of(&store.table(Kept::Alerts).await?).await,
        false => Ok(Publications::default()),
    }
}

/// The alerts that were issued, by number; none where the store has no such table.
pub async fn issued_alerts(store: &Store) -> Result<Vec<IssuedAlert>, Failure> {
    Ok(publications(store).await?.alerts)
}

/// The rows that are public, in the order in which they became it.
pub async fn published_rows(store: &Store) -> Result<Vec<Published>, Failure> {
    published_until(store, Until::Now).await
}

/// The issued alerts by number, each with the rows that were public with it: its own and those before it.
pub async fn alerts_with_rows(
    store: &Store,
) -> Result<Vec<(IssuedAlert, Vec<Published>)>, Failure> {
    let publications = publications(store).await?;
    let with_rows = publications.alerts.iter().map(|alert| {
        let mut rows = publications.published(Until::Before(alert.number));
        for entry in alert.public_rows.iter().flatten() {
            rows.push(Published {
                entry: entry.clone(),
                withdrawn: false,
            });
        }
        (alert.clone(), rows)
    });
    Ok(with_rows.collect())
}

/// The rows that were public before an alert.
pub async fn published_before(store: &Store, number: i64) -> Result<Vec<Published>, Failure> {
    published_until(store, Until::Before(number)).await
}

/// Some of the rows that are public, in the order in which they became it.
pub async fn published_until(store: &Store, until: Until) -> Result<Vec<Published>, Failure> {
    Ok(publications(store).await?.published(until))
}

/// The identity that the table of alerts got when it was made, and keeps wherever the workspace goes.
pub async fn identity_of_alerts(store: &Store) -> Result<String, Failure> {
    let table = store.table_or_made(Kept::Alerts).await?;
    let state = table
        .snapshot()
        .map_err(|error| crate::delta::tables::refused("open", Kept::Alerts, error))?;
    Ok(state.metadata().id().to_owned())
}

async fn rows_of(table: &DeltaTable) -> Result<Publications, Failure> {
    let session = SessionContext::new();
    register(&session, Kept::Alerts, table).await?;
    let frame = session
        .table(Kept::Alerts.name())
        .await
        .map_err(unreadable)?;
    let batches = frame.collect().await.map_err(unreadable)?;
    let mut rows = Vec::new();
    for batch in &batches {
        rows.extend(alert_rows(batch)?);
    }
    rows.sort_by_key(|row| row.entry);
    let mut publications = Publications::default();
    for row in rows {
        let AlertRow {
            entry,
            kind,
            reason,
            mut alert,
        } = row;
        publications.last_entry = entry;
        let public_rows = alert.public_rows.clone().unwrap_or_default();
        match kind.as_deref() {
            None | Some("alert") => {
                publications.events.push(Event::Rows {
                    number: Some(alert.number),
                    store_version: alert.store_version,
                    entries: public_rows,
                });
                publications.alerts.push(alert);
            }
            Some("export") => publications.events.push(Event::Rows {
                number: None,
                store_version: alert.store_version,
                entries: public_rows,
            }),
            Some("withdrawal") => {
                let number = alert.number;
                publications.events.push(Event::Withdrawal(number));
                let at = std::mem::take(&mut alert.issued_at);
                let mut alerts = publications.alerts.iter_mut();
                let Some(withdrawn) = alerts.find(|other| other.number == number) else {
                    return Err(damaged(&format!(
                        "a row withdraws alert {number}, which is not there"
                    )));
                };
                let reason = reason.unwrap_or_default();
                withdrawn.withdrawn = Some(Withdrawn { at, reason });
            }
            Some(other) => return Err(damaged(&format!("a row is of the kind {other:?}"))),
        }
    }
    Ok(publications)
}
