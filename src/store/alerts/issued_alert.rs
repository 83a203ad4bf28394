//! An issued alert as its row of the table `alerts` says it: its files by SHA-256, and all that they were made from.

use std::collections::BTreeMap;

use jiff::Timestamp;
use serde::{Deserialize, Serialize};

use disclosure::editions::Entry;

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
#[derive(Debug, Clone, PartialEq)]
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
    /// Of an update or a correction: the number that it replaces.
    pub replaces: Option<i64>,
    /// Why it replaces that one.
    pub change: Option<Change>,
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
    /// Texts of the protocol files that its figures are based on, by id.
    pub protocols: BTreeMap<String, String>,
    /// SHA-256 of the user's own boundary file.
    pub boundaries_sha256: Option<String>,
    /// Fingerprint of the weather that it is based on.
    pub weather_sha256: Option<String>,
    /// SHA-256 of the office's logo on it.
    pub logo_sha256: Option<String>,
    /// The public rows that it brought; `None` of an alert that an older program issued, whose figures were not made of
    /// public rows.
    pub public_rows: Option<Vec<Entry>>,
    /// k of the season's counts under the protocol as it was then, on which ranges and calls were based.
    pub season_k: Option<f64>,
    /// How well that k was known.
    pub season_k_information: Option<f64>,
    /// When and why it was withdrawn, if it was.
    pub withdrawn: Option<Withdrawn>,
}

/// Why an alert takes the place of another.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Change {
    /// Reports came in late.
    Update,
    /// Something was wrong: what, in the office's words. An older program asked for no reason, and called every
    /// change a correction.
    Correction(Option<String>),
}

impl Change {
    /// Its word in the table and for programs.
    pub fn word(&self) -> &'static str {
        match self {
            Change::Update => "update",
            Change::Correction(_) => "correction",
        }
    }

    /// The same with its article: `an update`.
    pub fn a_word(&self) -> &'static str {
        match self {
            Change::Update => "an update",
            Change::Correction(_) => "a correction",
        }
    }

    /// What was wrong.
    pub fn reason(&self) -> Option<&str> {
        match self {
            Change::Update => None,
            Change::Correction(reason) => reason.as_deref(),
        }
    }
}

/// That an alert was withdrawn.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Withdrawn {
    /// When.
    pub at: Timestamp,
    /// Why, in the office's words.
    pub reason: String,
}
