//! What a package is made from, and by whom; and what it says of itself in every form.

use std::collections::BTreeMap;

use jiff::Timestamp;
use serde_json::{Value, json};

use super::credits::Credits;
use super::package_file::one_line;
use disclosure::rule::Rule;
use scouting::protocol::catalogue::Protocol;
use scouting::region::Region;
use scouting::visit::week::Weeks;

/// How much of a field a package shows.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Level {
    /// Nothing: the public tables.
    Public,
    /// What was found in visits and fields, rounded, without what leads back to a field; private.
    Grid,
    /// Everything, identifiable; private.
    Full,
}

impl Level {
    /// Its name.
    pub fn word(self) -> &'static str {
        match self {
            Level::Public => "public",
            Level::Grid => "grid",
            Level::Full => "full",
        }
    }

    /// Whether it has rows of single fields, so that its recipient must agree to terms.
    pub(crate) fn is_private(self) -> bool {
        self != Level::Public
    }
}

/// The license of the data, as the settings state it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct License {
    /// Its identifier.
    pub name: String,
    /// Where its text is; empty if that is not stated.
    pub url: String,
}

impl License {
    /// In words.
    fn in_words(&self) -> String {
        match self.url.is_empty() {
            true => self.name.clone(),
            false => format!("{} <{}>", self.name, self.url),
        }
    }

    pub(super) fn in_package(&self) -> Value {
        match self.url.is_empty() {
            true => json!({ "name": self.name }),
            false => json!({ "name": self.name, "path": self.url }),
        }
    }
}

/// What is left out of single rows, at the level of the grid.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct HeldBack {
    /// Field-weeks that are there.
    pub field_weeks: usize,
    /// Of these, those that show their county alone.
    pub by_county_alone: usize,
    /// Field-weeks outside the stage window, of counties that are shown, that are not there.
    pub outside_window: usize,
}

/// What a package is made from, and by whom.
pub struct Facts<'a> {
    /// How much of a field it shows.
    pub level: Level,
    /// The counties.
    pub region: &'a Region,
    /// The protocols, by id.
    pub protocols: Vec<&'a Protocol>,
    /// The version of the store.
    pub store_version: i64,
    /// The season, if it is one alone.
    pub season: Option<i32>,
    /// When the newest submission came in.
    pub received_until: Option<Timestamp>,
    /// Name of the office; empty if the settings do not say.
    pub office: String,
    /// How to reach it; empty if the settings do not say.
    pub contact: String,
    /// DOI, authors and funder.
    pub credits: Credits,
    /// The license, if it is stated.
    pub license: Option<License>,
    /// The command that makes the same package again.
    pub command: String,
    /// Program and version.
    pub program: &'a str,
    /// What was read in addition to the store: name and SHA-256.
    pub inputs: Vec<(String, String)>,
    /// The rule of public rows, as the settings have it.
    pub rule: Rule,
    /// Height and about the width of a grid cell, kilometers.
    pub grid_km: f64,
    /// The probability from which on a field is called.
    pub certainty: f64,
    /// The days of each week.
    pub weeks: &'a Weeks,
    /// What is left out of single rows.
    pub held_back: Option<HeldBack>,
}

impl Facts<'_> {
    /// A name for programs.
    pub(super) fn name(&self) -> String {
        let season = self
            .season
            .map_or(String::new(), |season| format!("-{season}"));
        format!(
            "scouting-{}-store-{}{season}",
            self.level.word(),
            self.store_version
        )
    }

    pub(super) fn title(&self) -> String {
        let season = match self.season {
            Some(season) => format!("season {season}"),
            None => "all seasons".to_owned(),
        };
        let place = one_line(self.region.title());
        let of = if place.is_empty() {
            String::new()
        } else {
            format!(" of {place}")
        };
        let invented = if self.region.invented().is_some() {
            " (invented data)"
        } else {
            ""
        };
        format!(
            "Pest scouting{of}, {season}, level {}{invented}",
            self.level.word()
        )
    }

    /// What it is, in a few sentences.
    pub(super) fn about(&self) -> String {
        let what = match self.level {
            Level::Public => {
                "Public rows of counties and of places elsewhere in the region, and what follows from them: nothing of a field. \
                 Fields of too few farms, or too few fields, are in no row."
            }
            Level::Grid => {
                "PRIVATE, under the terms of TERMS.md: visits and field-weeks without anything that identifies a field, farm or scout, rounded, each row among enough others of its grid cell or county; and the public tables of counties and \
                 the region."
            }
            Level::Full => {
                "PRIVATE, under the terms of TERMS.md: every visit that counts with its raw counts, its field, farm, scout, \
                 point and economics; and all that is computed of them."
            }
        };
        let notice = self
            .region
            .invented()
            .map(|notice| format!("{} ", one_line(notice)));
        format!("{}{what}", notice.unwrap_or_default())
    }

    /// Under which license it may be used.
    pub(super) fn rights(&self) -> String {
        if self.level.is_private() {
            return "Under the terms of TERMS.md alone, as agreed with the office: not to be passed on or published."
                .to_owned();
        }
        match &self.license {
            Some(license) => format!("License of the data: {}.", license.in_words()),
            None => "The license of the data is not stated: ask the sender of the package before you pass it on or \
                     publish it."
                .to_owned(),
        }
    }

    /// The day on which weeks start, in a sentence.
    pub(super) fn weeks_in_words(&self) -> String {
        let (start, of_seasons) = self.weeks.starts();
        let others = of_seasons.map(|(season, start)| format!("; in {season} on {start}"));
        let others: String = others.collect();
        format!("Weeks start on {start}{others}.")
    }

    pub(super) fn parameters(&self) -> Value {
        let (start, of_seasons) = self.weeks.starts();
        let of_seasons: BTreeMap<String, String> = of_seasons
            .map(|(season, start)| (season.to_string(), start.to_string()))
            .collect();
        json!({
            "level": self.level.word(),
            "storeVersion": self.store_version,
            "season": self.season,
            "disclosureLevel": self.rule.level.word(),
            "minFields": self.rule.min_fields,
            "minFarms": self.rule.min_farms,
            "minFieldsWithoutFarms": self.rule.min_fields_without_farms,
            "pointGridKm": self.grid_km,
            "callCertainty": self.certainty,
            "weekStarts": start.to_string(),
            "weekStartsOfSeasons": of_seasons,
        })
    }
}
