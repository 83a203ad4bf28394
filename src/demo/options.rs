//! What to invent: how many fields, which seasons, and what goes wrong on the way.

/// What to invent.
#[derive(Debug, Clone, PartialEq)]
pub struct SampleOptions {
    /// The same seed gives the same bytes.
    pub seed: u64,
    /// Fields scouted in every season.
    pub fields: usize,
    /// Calendar years of the seasons.
    pub seasons: Vec<i32>,
    /// The first ISO week in which anybody scouts.
    pub first_week: i8,
    /// How many ISO weeks scouting goes on.
    pub weeks: i8,
    /// The most visits to a field in a season; each field gets from one up to so many.
    pub visits_per_field_max: usize,
    /// What goes wrong on the way, and how often.
    pub mess: MessShares,
}

impl Default for SampleOptions {
    /// The fictional region of the demo: 150 fields, three seasons, ISO weeks 28 to 32.
    fn default() -> Self {
        SampleOptions {
            seed: 23,
            fields: 150,
            seasons: vec![2024, 2025, 2026],
            first_week: 28,
            weeks: 5,
            visits_per_field_max: 5,
            mess: MessShares::demo(),
        }
    }
}

/// Shares of the visits to which something happens; at most one of these befalls a visit, but for
/// being late, which may come on top.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct MessShares {
    /// Submitted two to six weeks after the visit.
    pub late: f64,
    /// Followed, or overtaken, by revision 2, and sometimes 3.
    pub corrected: f64,
    /// Withdrawn by revision 2.
    pub retracted: f64,
    /// Sent twice, word for word or in other words.
    pub duplicated: f64,
    /// Sent twice under the same revision with other content.
    pub conflicting: f64,
    /// Broken.
    pub broken: f64,
    /// Of the broken ones: sent again, corrected.
    pub returned: f64,
}

impl MessShares {
    /// Nothing goes wrong.
    pub fn none() -> Self {
        MessShares {
            late: 0.0,
            corrected: 0.0,
            retracted: 0.0,
            duplicated: 0.0,
            conflicting: 0.0,
            broken: 0.0,
            returned: 0.0,
        }
    }

    /// The demo's shares: enough of each to be seen among 300 visits a season.
    pub fn demo() -> Self {
        MessShares {
            late: 0.05,
            corrected: 0.05,
            retracted: 0.01,
            duplicated: 0.03,
            conflicting: 0.01,
            broken: 0.06,
            returned: 0.3,
        }
    }

    /// The benchmark's shares: 2% broken, 1.5% sent twice, 1% corrected.
    pub fn benchmark() -> Self {
        MessShares {
            broken: 0.02,
            duplicated: 0.015,
            corrected: 0.01,
            ..MessShares::none()
        }
    }
}
