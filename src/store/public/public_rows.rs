//! From field-weeks to public rows: which rows are public, and which would be if a week were published now.
//!
//! Reads the private table `field_week` and hands its fields to [`disclosure`], week by week. What leaves this
//! module are public rows, entries for the store, and for the office what became of each county.

use std::collections::{BTreeMap, BTreeSet};

use arrow::array::RecordBatch;
use jiff::civil::Date;
use serde::Deserialize;

use crate::rows::decode;
use crate::stages::inputs::Setting;
use crate::stages::rollup::Period;
use crate::stages::stage_rows::rows_of;
use disclosure::editions::{Entry, Published};
use disclosure::field::{FieldWeek, GridPoint, Id};
use disclosure::place::Place;
use disclosure::public_row::PublicRow;
use disclosure::rule::Level;
use disclosure::week::Week;
use disclosure::week_rows::{Outcome, week_rows};
use scouting::failure::{Failure, Kind};
use scouting::protocol::catalogue::Catalogue;
use scouting::region::point_grid::{GridWidth, cell_of};

/// Which weeks are published now, beyond what is public already.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Publishing {
    /// None.
    Nothing,
    /// One week under one protocol.
    Week {
        /// ISO 8601 week.
        iso_week: String,
        /// The protocol's id.
        protocol: String,
    },
    /// Every week of a period.
    All(Period),
}

impl Publishing {
    fn holds(&self, iso_week: &str, season: i32, protocol: &str) -> bool {
        match self {
            Publishing::Nothing => false,
            Publishing::Week {
                iso_week: week,
                protocol: id,
            } => week == iso_week && id == protocol,
            Publishing::All(period) => period.holds(iso_week, season),
        }
    }
}

/// The rows of all weeks.
#[derive(Debug, Clone, Default)]
pub struct PublicRows {
    /// Every row that is shown, by place, week and protocol.
    pub shown: Vec<PublicRow>,
    /// Of the weeks published now, the entries that are not public yet.
    pub entering: Vec<Entry>,
    /// Of the weeks published now, what became of each county: private.
    pub outcomes: Vec<CountyOutcome>,
}

/// What became of a county in a week: private.
#[derive(Debug, Clone, PartialEq)]
pub struct CountyOutcome {
    /// The ISO week-year.
    pub season: i32,
    /// ISO 8601 week.
    pub iso_week: String,
    /// The protocol's id.
    pub protocol: String,
    /// Fields in the stage window, and outside it.
    pub fields: [u32; 2],
    /// The county, its place and why.
    pub outcome: Outcome,
    /// Whether the row of that place is public already.
    pub is_public: bool,
}

/// What became of a county in a week, in a word.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Status {
    /// Most of its fields are in a public row, of the county or of a place elsewhere.
    Public,
    /// They would be if the week were published now.
    WouldBePublic,
    /// They are in no row.
    Withheld,
}

impl Status {
    /// Its name in the table.
    pub fn word(self) -> &'static str {
        match self {
            Status::Public => "public",
            Status::WouldBePublic => "would-be-public",
            Status::Withheld => "withheld",
        }
    }
}

impl CountyOutcome {
    /// In a word.
    pub fn status(&self) -> Status {
        match (&self.outcome.place, self.is_public) {
            (None, _) => Status::Withheld,
            (Some(_), true) => Status::Public,
            (Some(_), false) => Status::WouldBePublic,
        }
    }
}

/// A week under a protocol.
type WeekKey = (String, String);

/// The rows that are public by `published`, and those that become so by what is published now.
///
/// # Errors
/// A [`Failure`] if the table lacks a column, or a season that has rows of the level `strict`, or of weeks that start on
/// another day, is to get others.
pub fn public_rows(
    field_week: &RecordBatch,
    catalogue: &Catalogue,
    setting: &Setting,
    published: &[Published],
    publishing: &Publishing,
    visits_until: Date,
) -> Result<PublicRows, Failure> {
    let mut field_rows: Vec<FieldRow<'_>> = rows_of(field_week, "field_week")?;
    let farms_known = seasons_with_farms(field_rows.iter().map(|row| (row.season, row.farm_id)));
    field_rows.retain(|row| !row.is_treated());
    let mut entries: BTreeMap<WeekKey, Vec<Published>> = BTreeMap::new();
    for one in published {
        let row = &one.entry.row;
        let key = (row.iso_week.clone(), row.protocol.clone());
        entries.entry(key).or_default().push(one.clone());
    }
    let mut fields: BTreeMap<WeekKey, (i32, Vec<FieldWeek>)> = BTreeMap::new();
    for row in &field_rows {
        if publishing.holds(row.iso_week, row.season, row.protocol) {
            let key = (row.iso_week.to_owned(), row.protocol.to_owned());
            let group = fields
                .entry(key)
                .or_insert_with(|| (row.season, Vec::new()));
            group.1.push(row.field(catalogue, setting));
        }
    }
    let keys: BTreeSet<&WeekKey> = entries.keys().chain(fields.keys()).collect();
    let none = Vec::new();
    let mut rows = PublicRows::default();
    for key in keys {
        let published = entries.get(key).unwrap_or(&none);
        let season = match (fields.get(key), published.first()) {
            (Some((season, _)), _) => *season,
            (None, Some(one)) => one.entry.row.season,
            (None, None) => continue,
        };
        let week = Week {
            season,
            iso_week: &key.0,
            weeks: &setting.weeks,
            protocol: &key.1,
            visits_until,
            farms_known: farms_known.contains(&season),
            districts: &setting.districts,
        };
        if !publishing.holds(&key.0, season, &key.1) {
            rows.shown.extend(shown_of(&week, published, setting));
            continue;
        }
        not_back_to_survey(season, published_of_all(&entries, season), setting)?;
        one_kind_of_week(season, published_of_all(&entries, season), setting)?;
        let of_week = fields.get(key).map_or(&[][..], |(_, fields)| fields);
        let made = week_rows(&week, of_week, published, &setting.rule);
        let outcomes = made.outcomes.into_iter().map(|outcome| {
            let of_county = of_week
                .iter()
                .filter(|field| field.county_id == outcome.county_id);
            let inside = of_county.clone().filter(|field| field.in_window).count();
            CountyOutcome {
                season,
                iso_week: key.0.clone(),
                protocol: key.1.clone(),
                fields: [inside as u32, (of_county.count() - inside) as u32],
                is_public: outcome.place.as_ref().is_some_and(|place| {
                    made.entering.iter().all(|entry| entry.row.place != *place)
                }),
                outcome,
            }
        });
        rows.outcomes.extend(outcomes);
        rows.shown.extend(made.shown);
        rows.entering.extend(made.entering);
    }
    rows.shown
        .sort_by(|one, other| key_of(one).cmp(&key_of(other)));
    Ok(rows)
}

fn published_of_all(
    entries: &BTreeMap<WeekKey, Vec<Published>>,
    season: i32,
) -> impl Iterator<Item = &PublicRow> {
    let rows = entries.values().flatten().map(|one| &one.entry.row);
    rows.filter(move |row| row.season == season)
}

/// Rows of both levels in one season reveal more than either: intervals first and counts later are counts.
fn not_back_to_survey<'a>(
    season: i32,
    mut rows: impl Iterator<Item = &'a PublicRow>,
    setting: &Setting,
) -> Result<(), Failure> {
    let strict = |row: &PublicRow| row.level == Level::Strict;
    if setting.rule.level == Level::Survey && rows.any(strict) {
        return Err(Failure::new(
            Kind::Settings,
            format!("season {season} has public rows of the level strict, and [disclosure] level is survey"),
        )
        .mend("write level = \"strict\" again; a workspace can go back with its next season"));
    }
    Ok(())
}

/// Rows of weeks that start on different days would count a field of one day in two of them.
fn one_kind_of_week<'a>(
    season: i32,
    mut rows: impl Iterator<Item = &'a PublicRow>,
    setting: &Setting,
) -> Result<(), Failure> {
    let start = setting.weeks.start_in(season);
    match rows.find(|row| row.week_starts != start) {
        Some(row) => Err(Failure::new(
            Kind::Settings,
            format!(
                "season {season} has public rows of weeks that start on {}, and these weeks start on {start}",
                row.week_starts
            ),
        )
        .mend(format!(
            "write [week] starts = \"{}\" again; another day can start the weeks of the next season",
            row.week_starts
        ))),
        None => Ok(()),
    }
}

fn key_of(row: &PublicRow) -> (&Place, &str, &str) {
    (&row.place, &row.iso_week, &row.protocol)
}

/// The newest entry of each place, unless it was withdrawn or the rule has become stricter since.
fn shown_of(week: &Week, published: &[Published], setting: &Setting) -> Vec<PublicRow> {
    let mut latest = BTreeMap::new();
    for one in published {
        latest.insert(&one.entry.row.place, one);
    }
    latest
        .into_values()
        .filter(|one| one.is_shown(&setting.rule, week.farms_known))
        .map(|one| one.entry.row.clone())
        .collect()
}

/// The seasons in which a visit names a farm, under any protocol, of the seasons and farms of `field_week`.
pub fn seasons_with_farms<'a>(rows: impl Iterator<Item = (i32, Option<&'a str>)>) -> BTreeSet<i32> {
    rows.filter(|(_, farm)| farm.and_then(Id::of_farm).is_some())
        .map(|(season, _)| season)
        .collect()
}

/// What disclosure control needs of a row of `field_week`.
#[derive(Deserialize)]
struct FieldRow<'a> {
    field_id: &'a str,
    farm_id: Option<&'a str>,
    county_id: &'a str,
    iso_week: &'a str,
    protocol: &'a str,
    crop_stage: &'a str,
    window_basis: Option<&'a str>,
    season: i32,
    in_window: bool,
    after_treatment: bool,
    economics_assumed: bool,
    pressure: f64,
    lon: Option<f64>,
    lat: Option<f64>,
    #[serde(deserialize_with = "decode::day_or_none")]
    window_opens: Option<Date>,
    #[serde(deserialize_with = "decode::day_or_none")]
    window_closes: Option<Date>,
}

impl FieldRow<'_> {
    /// Whether the field was treated: it is in no public figure, nor in a public number of fields.
    fn is_treated(&self) -> bool {
        self.in_window && self.after_treatment
    }

    fn field(&self, catalogue: &Catalogue, setting: &Setting) -> FieldWeek {
        let (crop_stage, stage_place) = stage_group(self.crop_stage, self.protocol, catalogue);
        FieldWeek {
            field: Id::of(self.field_id),
            farm: self.farm_id.and_then(Id::of_farm),
            county_id: self.county_id.to_owned(),
            in_window: self.in_window,
            crop_stage,
            stage_place,
            pressure: self.pressure,
            economics_assumed: self.economics_assumed,
            treatment_days: self
                .window_opens
                .zip(self.window_closes)
                .map(|(opens, closes)| [opens, closes]),
            window_basis: self.window_basis.map(str::to_owned),
            cell: self
                .lon
                .zip(self.lat)
                .map(|(lon, lat)| grid_point(lon, lat, setting.point_grid)),
        }
    }
}

/// A stage as far as an alert distinguishes stages, and its place in the order of growth: every vegetative stage is V,
/// R5.0 to R5.9 are R5.
fn stage_group(stage: &str, protocol: &str, catalogue: &Catalogue) -> (String, i32) {
    let is_vegetative = stage == "VE"
        || (stage.starts_with('V') && stage[1..].starts_with(|c: char| c.is_ascii_digit()));
    let group = match stage {
        _ if is_vegetative => "V",
        _ if stage.starts_with("R5.") => "R5",
        _ => stage,
    };
    let scale = catalogue.protocol(protocol).map(|protocol| &protocol.scale);
    let place = scale.and_then(|scale| scale.read(group));
    (
        group.to_owned(),
        place.map_or(-1, |stage| stage.first_place()),
    )
}

/// The cell of a field's point.
fn grid_point(lon: f64, lat: f64, width: GridWidth) -> GridPoint {
    let cell = cell_of(lon, lat, width);
    GridPoint {
        cell: cell.id,
        lon: cell.lon,
        lat: cell.lat,
        grid_km: width.km(),
    }
}
