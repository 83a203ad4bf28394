//! What an alert is issued as: its number, its time, and the one that it replaces and why.
//!
//! Where issued alerts are kept is not known here, nor when the next is due.

use jiff::Timestamp;

use crate::shared::shown_days::moment_in_words;
use disclosure::public_row::PublicRow;
use store::alerts::issued_alert::Change;

/// What an alert is issued as.
#[derive(Debug, Clone, PartialEq)]
pub struct Issue {
    /// 1, 2, 3 … of the workspace.
    pub number: i64,
    /// When.
    pub issued_at: Timestamp,
    /// Of an update or a correction: what it replaces.
    pub replaces: Option<Replaced>,
}

/// The alert that another replaces.
#[derive(Debug, Clone, PartialEq)]
pub struct Replaced {
    /// Its number.
    pub number: i64,
    /// Its rows.
    pub rows: Vec<PublicRow>,
    /// Why it is replaced.
    pub change: Change,
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
    /// What its successor is, and why: `Update.`, `Correction.`
    pub fn heading(&self) -> &'static str {
        match self.change {
            Change::Update => "Update.",
            Change::Correction(_) => "Correction.",
        }
    }

    /// Why it is replaced, in a sentence: what was wrong, or that reports came in late; `None` of a correction of an
    /// older program, which asked for no reason.
    pub fn why(&self) -> Option<String> {
        match &self.change {
            Change::Update => Some("It includes reports received or corrected since.".to_owned()),
            Change::Correction(reason) => reason.as_deref().map(sentence),
        }
    }

    /// Name of its folder.
    pub fn folder(&self) -> String {
        folder_name(self.number)
    }
}

/// A text of the office as a sentence of its own.
fn sentence(text: &str) -> String {
    match text.ends_with(['.', '!', '?']) {
        true => text.to_owned(),
        false => format!("{text}."),
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
