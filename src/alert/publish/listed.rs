//! Issued alerts as the feed, the list and the pages describe them, and which of them is newer than another.

use jiff::Timestamp;

use crate::shared::shown_days::named_week_in_words;
use scouting::visit::week::Weeks;
use store::alerts::issued_alert::{Change, IssuedAlert};

/// An issued alert, as the feed and the list describe it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct Listed {
    /// Its number.
    pub number: i64,
    /// When it was issued.
    pub issued_at: Timestamp,
    /// Name of the week.
    pub iso_week: String,
    /// The same in words, by its last day.
    pub week: String,
    /// Id of the protocol.
    pub protocol: String,
    /// Title of the protocol.
    pub title: String,
    /// The number that it replaces.
    pub replaces: Option<i64>,
    /// Why it replaces that one.
    pub change: Option<Change>,
    /// Its headline.
    pub headline: String,
    /// Its summary.
    pub summary: String,
    /// The notice that its region is invented.
    pub invented: Option<String>,
    /// When and why it was withdrawn.
    pub withdrawn: Option<(Timestamp, String)>,
}

impl Listed {
    /// What is said of an issued alert.
    pub(crate) fn of(alert: &IssuedAlert, weeks: &Weeks) -> Listed {
        Listed {
            number: alert.number,
            issued_at: alert.issued_at,
            iso_week: alert.iso_week.clone(),
            week: named_week_in_words(&alert.iso_week, weeks),
            protocol: alert.protocol.clone(),
            title: alert.title.clone(),
            replaces: alert.replaces,
            change: alert.change.clone(),
            headline: alert.headline.clone(),
            summary: alert.summary.clone(),
            invented: alert.invented.clone(),
            withdrawn: alert
                .withdrawn
                .as_ref()
                .map(|withdrawn| (withdrawn.at, withdrawn.reason.clone())),
        }
    }

    /// The season: the year of its week.
    pub(crate) fn season(&self) -> &str {
        self.iso_week
            .split_once("-W")
            .map_or(&*self.iso_week, |(year, _)| year)
    }

    /// `an update of alert 3`, `a correction of alert 3: two counties were mixed up`.
    pub(crate) fn replaces_in_words(&self) -> Option<String> {
        let (change, number) = self.change.as_ref().zip(self.replaces)?;
        let reason = change
            .reason()
            .map_or_else(String::new, |reason| format!(": {reason}"));
        Some(format!("{} of alert {number}{reason}", change.a_word()))
    }
}

/// The alert that took the place of another, if there is one.
pub(crate) fn replaced_by(alerts: &[Listed], number: i64) -> Option<&Listed> {
    alerts.iter().find(|other| other.replaces == Some(number))
}

/// The newest alert of the same week and protocol, if it is another.
pub(crate) fn newer<'a>(alerts: &'a [Listed], alert: &Listed) -> Option<&'a Listed> {
    let same = |other: &&Listed| {
        other.iso_week == alert.iso_week
            && other.protocol == alert.protocol
            && other.number > alert.number
    };
    alerts.iter().filter(same).max_by_key(|other| other.number)
}
