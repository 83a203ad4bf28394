//! What an alert is issued as: its number, its time, and the one that it replaces.
//!
//! Where issued alerts are kept is not known here, nor when the next is due.

use jiff::Timestamp;

use crate::shared::shown_days::moment_in_words;
use disclosure::public_row::PublicRow;

/// What an alert is issued as.
#[derive(Debug, Clone, PartialEq)]
pub struct Issue {
    /// 1, 2, 3 … of the workspace.
    pub number: i64,
    /// When.
    pub issued_at: Timestamp,
    /// Of a correction: what it replaces.
    pub replaces: Option<Replaced>,
}

/// The alert that a correction replaces.
#[derive(Debug, Clone, PartialEq)]
pub struct Replaced {
    /// Its number.
    pub number: i64,
    /// Its rows.
    pub rows: Vec<PublicRow>,
}

impl Issue {
    /// `Alert 3, issued August 12, 2026, 14:03 UTC.`
    pub(crate) fn in_words(&self) -> String {
        format!(
            "Alert {}, issued {}.",
            self.number,
            moment_in_words(self.issued_at)
        )
    }

    /// The anchor of this week and protocol in the list of alerts.
    pub(crate) fn anchor(&self, iso_week: &str, protocol: &str) -> String {
        anchor(iso_week, protocol)
    }
}

impl Replaced {
    /// Name of its folder.
    pub fn folder(&self) -> String {
        folder_name(self.number)
    }
}

/// The folder of an alert: `0003`.
pub(crate) fn folder_name(number: i64) -> String {
    format!("{number:04}")
}

/// The place of a week and protocol in the list of alerts, in letters that a link may hold as they are.
pub(crate) fn anchor(iso_week: &str, protocol: &str) -> String {
    let plain = |c: char| match c.is_ascii_alphanumeric() || matches!(c, '-' | '.' | '_') {
        true => c,
        false => '_',
    };
    format!("{iso_week}.{protocol}")
        .chars()
        .map(plain)
        .collect()
}
