//! What is reported of issued alerts, for programs and for people.

use std::path::{Path, PathBuf};

use serde_json::{Value, json};

use super::facts::folder_name;
use crate::shared::report::counted;
use crate::shared::shown_days::moment_in_words;
use crate::workspace::Workspace;
use store::alerts::issued_alert::{Change, IssuedAlert};

/// An alert that was issued just now.
pub(crate) struct Issued {
    pub(crate) alert: IssuedAlert,
    /// Its counties that have fields in no row.
    pub(crate) withheld: usize,
    /// Where its files are.
    pub(crate) folder: PathBuf,
}

impl Issued {
    /// For programs.
    pub(crate) fn json(&self) -> Value {
        in_json(&self.alert, &self.folder)
    }

    /// For people.
    pub(crate) fn text(&self) -> String {
        let alert = &self.alert;
        let correction = replaces_in_words(alert);
        let rows = alert.public_rows.as_ref().map_or(0, Vec::len) as u64;
        format!(
            "issued alert {} of {}, {}{correction}, from store version {}: {}\nmade {} public; {} in no row",
            alert.number,
            alert.iso_week,
            alert.protocol,
            alert.store_version,
            self.folder.join("alert.html").display(),
            counted(rows, "row", "rows"),
            counted(self.withheld as u64, "county is", "counties are"),
        )
    }
}

/// `, an update of alert 3`; empty of an alert that replaces none.
fn replaces_in_words(alert: &IssuedAlert) -> String {
    let replaces = alert.change.as_ref().zip(alert.replaces);
    replaces.map_or_else(String::new, |(change, number)| {
        let reason = change
            .reason()
            .map_or_else(String::new, |reason| format!(" ({reason})"));
        format!(", {} of alert {number}{reason}", change.a_word())
    })
}

/// The list of issued alerts for programs.
pub(crate) fn list_json(workspace: &Workspace, issued: &[IssuedAlert]) -> Value {
    let alerts = issued
        .iter()
        .map(|alert| in_json(alert, &workspace.issued().join(folder_name(alert.number))));
    json!({ "alerts": alerts.collect::<Vec<_>>() })
}

/// The list of issued alerts for people, a line each.
pub(crate) fn list_text(issued: &[IssuedAlert]) -> String {
    if issued.is_empty() {
        return "no alert is issued yet".to_owned();
    }
    let lines = issued.iter().map(|alert| {
        let correction = replaces_in_words(alert);
        let withdrawn = alert
            .withdrawn
            .as_ref()
            .map_or_else(String::new, |withdrawn| {
                format!(
                    ", WITHDRAWN {}: {}",
                    moment_in_words(withdrawn.at),
                    withdrawn.reason
                )
            });
        format!(
            "{}  {} {}, issued {}, store version {}{correction}{withdrawn}: {}",
            folder_name(alert.number),
            alert.iso_week,
            alert.protocol,
            moment_in_words(alert.issued_at),
            alert.store_version,
            alert.headline
        )
    });
    lines.collect::<Vec<_>>().join("\n")
}

/// An issued alert for programs.
fn in_json(alert: &IssuedAlert, folder: &Path) -> Value {
    json!({
        "number": alert.number,
        "issued_at": alert.issued_at.to_string(),
        "iso_week": alert.iso_week,
        "protocol": alert.protocol,
        "replaces": alert.replaces,
        "change": alert.change.as_ref().map(Change::word),
        "change_reason": alert.change.as_ref().and_then(Change::reason),
        "store_version": alert.store_version,
        "program_version": alert.program_version,
        "headline": alert.headline,
        "withdrawn": alert.withdrawn.as_ref().map(|withdrawn| json!({
            "at": withdrawn.at.to_string(),
            "reason": withdrawn.reason,
        })),
        "rows_made_public": alert.public_rows.as_ref().map_or(0, Vec::len),
        "folder": folder,
        "files": alert.files,
    })
}
