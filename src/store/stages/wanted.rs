//! What a roll-up is to give: all its tables, or some; as recorded, or under other economics.

use crate::stages::computed::seasons::Seasons;
use crate::stages::scenario::Scenario;

/// Tables that are kept to the end; the others are dropped once nothing reads them any more.
pub const FINISHED: [&str; 3] = ["field_week", "county_week_full", "county_week_effort"];

/// What a roll-up is to give.
#[derive(Clone, Copy)]
pub(crate) struct Wanted<'a> {
    /// The tables that are kept; with the last of them it ends.
    pub(crate) tables: &'a [&'a str],
    /// Other economics than those of the records.
    pub(crate) scenario: Option<&'a Scenario>,
    /// What is known of the seasons, where it is rolled up in parts; else it is taken from the visits at hand.
    pub(crate) seasons: Option<&'a Seasons>,
}

impl Default for Wanted<'_> {
    fn default() -> Self {
        Wanted {
            tables: &FINISHED,
            scenario: None,
            seasons: None,
        }
    }
}
