//! One week under one protocol: what all of its rows have in common, and where fields without a row go.

use std::collections::BTreeMap;

use jiff::civil::Date;

use super::place::Place;
use super::public_row::Heading;
use scouting::visit::week::Weeks;

/// One week under one protocol, and what is known of it.
#[derive(Debug, Clone)]
pub struct Week<'a> {
    /// The ISO week-year.
    pub season: i32,
    /// ISO 8601 week.
    pub iso_week: &'a str,
    /// The days of each week.
    pub weeks: &'a Weeks,
    /// The protocol's id.
    pub protocol: &'a str,
    /// Day of the newest submission.
    pub visits_until: Date,
    /// Whether any visit of the season names a farm.
    pub farms_known: bool,
    /// The district of each county that has one.
    pub districts: &'a BTreeMap<String, String>,
}

impl<'a> Week<'a> {
    /// The heading of a row of the week.
    pub(super) fn heading(&'a self, place: &'a Place) -> Heading<'a> {
        Heading {
            place,
            season: self.season,
            iso_week: self.iso_week,
            weeks: self.weeks,
            protocol: self.protocol,
            visits_until: self.visits_until,
            farms_known: self.farms_known,
        }
    }

    /// Where fields go that are in no row of their county.
    pub(super) fn beyond(&self, county: &str) -> Place {
        match self.districts.get(county) {
            Some(name) => Place::District(name.clone()),
            None => Place::Region,
        }
    }
}
