//! Withdrawing an alert: a stub with the reason takes its place, and its rows are shown no more.
//!
//! What the alert said is known all the same, so its rows keep their fields: a new alert of the week shows them again if
//! nothing of them has changed, or with a change that could be shown by itself.

use jiff::Timestamp;

use super::as_issued::find;
use super::settle::settle;
use crate::workspace::Workspace;
use crate::workspace::open::open_store;
use scouting::failure::{Failure, Kind};
use store::alerts::issued_alert::{IssuedAlert, Withdrawn};
use store::alerts::table::AlertBook;
use store::delta::append::Sealed;

/// A withdrawal that is overtaken more often than this gives up.
const ATTEMPTS_MAX: usize = 50;

/// An alert that was withdrawn just now.
pub(crate) struct Withdrew {
    alert: IssuedAlert,
    withdrawn: Withdrawn,
    /// What is still published of what it replaced.
    note: String,
}

impl Withdrew {
    /// For programs.
    pub(crate) fn json(&self) -> serde_json::Value {
        serde_json::json!({
            "number": self.alert.number,
            "iso_week": self.alert.iso_week,
            "protocol": self.alert.protocol,
            "withdrawn_at": self.withdrawn.at.to_string(),
            "reason": self.withdrawn.reason,
        })
    }

    /// For people.
    pub(crate) fn text(&self) -> String {
        format!(
            "withdrew alert {} of {}, {}: {}\n`bractline publish` puts a stub in its place{}",
            self.alert.number,
            self.alert.iso_week,
            self.alert.protocol,
            self.withdrawn.reason,
            self.note
        )
    }
}

/// Withdraws an alert.
///
/// # Errors
/// A [`Failure`] if there is no such alert, or it was withdrawn already.
pub(crate) async fn withdraw(
    workspace: &Workspace,
    number: i64,
    reason: String,
    now: Timestamp,
) -> Result<Withdrew, Failure> {
    let store = open_store(workspace).await?;
    for _ in 0..ATTEMPTS_MAX {
        let book = AlertBook::open(&store).await?;
        settle(workspace, book.issued())?;
        let alert = find(book.issued(), number)?;
        if alert.withdrawn.is_some() {
            return Err(Failure::new(
                Kind::Publish,
                format!("alert {number} was withdrawn already"),
            ));
        }
        let withdrawn = Withdrawn {
            at: Timestamp::from_microsecond(now.as_microsecond()).unwrap_or(now),
            reason: reason.clone(),
        };
        if book.withdraw(&store, number, &withdrawn).await? == Sealed::Overtaken {
            continue;
        }
        return Ok(Withdrew {
            note: still_published(book.issued(), alert),
            alert: alert.clone(),
            withdrawn,
        });
    }
    Err(Failure::new(
        Kind::Busy,
        "cannot withdraw: the table of alerts stayed busy",
    )
    .mend("withdraw again when the other commands have finished; nothing was changed"))
}

/// What it replaced is still published, with the rows that it brought.
fn still_published(issued: &[IssuedAlert], alert: &IssuedAlert) -> String {
    let corrected = issued
        .iter()
        .find(|other| Some(other.number) == alert.replaces && other.withdrawn.is_none());
    corrected.map_or_else(String::new, |other| {
        format!(
            "\nnote: alert {}, which it replaced, is still published; withdraw it as well if its rows are wrong",
            other.number
        )
    })
}
