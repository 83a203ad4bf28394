//! The gate: what a public file may hold, judged on its finished bytes before it is put anywhere.
//!
//! A file is public only by a name in `public_files.rs`. Tables and maps hold the columns of the public tables and no
//! others, and every row of theirs is one of the public rows that the gate was given; a point is no finer than the
//! grid, and is nobody's field; no text holds a private name. A file of a new kind needs its
//! judge here.

use std::collections::{BTreeMap, BTreeSet};

use super::handouts::{self, judge_picture, judge_short};
use super::names::{Closeness, PrivateNames};
use super::pdf_words::words_of_pdf;
use super::points::PrivatePoints;
use super::public_files::{
    Judged, LATEST, LATEST_MANIFEST, PUBLIC_AROUND, PUBLIC_FILES, WEEK_PAGE,
};
use super::row_words::{
    COMPARED, FURTHER, FurtherWords, RowWords, further_words_of, number, words_of,
};
use super::tables::{Cells, Feature, features_of, rows_of_csv};
use super::views::{Writing, views, words_shown};
use crate::shared::cautions::NOTICE;
use crate::shared::shown_names::display_names;
use disclosure::editions::Entry;
use scouting::failure::{Cause, Failure, Kind};
use scouting::region::Region;
use scouting::region::distance::meters_between;
use scouting::visit::week::IsoWeek;
use store::stages::files::public_stages;

/// Properties of a feature in addition to the columns of the roll-up: what the map file says of its week, and the class with
/// its words and colors for viewers without a style.
pub(crate) const MAP_PROPERTIES: [&str; 10] = [
    "status",
    "start",
    "end",
    "class",
    "title",
    "description",
    "fill",
    "fill-opacity",
    "stroke",
    "stroke-width",
];
/// Points of two neighboring cells are one grid width apart, but for the rounding of their coordinates
/// and the narrowing of cells toward the poles.
const GRID_SLACK: f64 = 0.9;
/// Points closer than this are one: about a meter of latitude, degrees.
const SAME_POINT: f64 = 1e-5;

/// What was given in confidence.
#[derive(Debug, Clone, Default)]
pub struct Confidences {
    /// Ids of fields, farms, scouts and visits.
    pub names: BTreeSet<String>,
    /// Longitude and latitude of every field visited.
    pub points: Vec<(f64, f64)>,
}

/// The rules, for files about one region.
pub struct Gate {
    private: PrivateNames,
    points: BTreeSet<(i64, i64)>,
    counties: BTreeSet<String>,
    /// The counties' names as shown, by id.
    names: BTreeMap<String, String>,
    /// Columns of the public tables.
    columns: BTreeSet<String>,
    /// The public rows, each by what every table says of it, with what some tables say of it besides.
    rows: BTreeMap<RowWords, BTreeSet<FurtherWords>>,
    grid_km: f64,
}

impl Gate {
    /// The rules for files about `region`, whose rows are of these protocols.
    ///
    /// # Errors
    /// A [`Failure`] if the stages of the roll-up cannot be read.
    pub fn new<'a>(
        region: &Region,
        protocols: impl IntoIterator<Item = &'a str>,
        grid_km: f64,
        confidences: &Confidences,
    ) -> Result<Gate, Failure> {
        let listed = || region.counties().iter().chain(region.without_shape());
        let counties: BTreeSet<String> = listed().map(|county| county.id.clone()).collect();
        let mut public = counties.clone();
        public.extend(listed().map(|county| county.name.clone()));
        public.extend(protocols.into_iter().map(str::to_owned));
        let columns = public_stages()?
            .into_iter()
            .filter(|stage| ["county_week", "elsewhere_week"].contains(&&*stage.table))
            .flat_map(|stage| stage.columns)
            .map(|column| column.name);
        Ok(Gate {
            private: PrivateNames::of(&confidences.names, &public),
            points: confidences.points.iter().copied().map(place_of).collect(),
            counties,
            names: display_names(region)
                .into_iter()
                .map(|(id, name)| (id.to_owned(), name))
                .collect(),
            columns: columns.collect(),
            rows: BTreeMap::new(),
            grid_km,
        })
    }

    /// Lets public rows through: no other row passes.
    pub fn allow_rows<'a>(&mut self, entries: impl IntoIterator<Item = &'a Entry>) {
        for entry in entries {
            let further = self.rows.entry(words_of(&entry.row)).or_default();
            further.insert(further_words_of(&entry.row));
        }
    }

    /// Judges a file of an issued alert of this protocol.
    ///
    /// # Errors
    /// A [`Failure`] that names the file and the reason.
    pub(crate) fn judge_alert_file(
        &self,
        file: &str,
        name: &str,
        bytes: &[u8],
        protocol: &str,
    ) -> Result<(), Failure> {
        let known = PUBLIC_FILES.iter().find(|(public, _)| *public == name);
        let Some((_, judged)) = known else {
            return Err(stopped(file, "it is no public file"));
        };
        if is_of_scenario(bytes) {
            return Err(stopped(
                file,
                "it is from a scenario, and a scenario is never published as an observed result",
            ));
        }
        let outcome = match judged {
            Judged::Words => Ok(()),
            Judged::Letter => self.judge_letter(bytes, protocol),
            Judged::Short => judge_short(&String::from_utf8_lossy(bytes)),
            Judged::Picture => return judge_picture(bytes).map_err(|why| stopped(file, &why)),
            Judged::Pdf => {
                let text = words_of_pdf(bytes).map_err(|cause| unreadable(file, cause))?;
                handouts::judge_words(&text, protocol, self.rows.keys(), &self.names)
                    .map_err(|why| stopped(file, &why))?;
                return self.judge_views(file, &views(&text, Writing::Plain), Closeness::File);
            }
            Judged::Table | Judged::Elsewhere => {
                let rows = rows_of_csv(bytes).map_err(|cause| unreadable(file, cause))?;
                self.judge_table(&rows, protocol)
            }
            Judged::Map => {
                let features = features_of(bytes).map_err(|cause| unreadable(file, cause))?;
                self.judge_map(&features, protocol)
            }
        };
        outcome.map_err(|why| stopped(file, &why))?;
        self.judge_words(file, bytes)
    }

    fn judge_letter(&self, bytes: &[u8], protocol: &str) -> Result<(), String> {
        let text = words_shown(&String::from_utf8_lossy(bytes));
        handouts::judge_words(&text, protocol, self.rows.keys(), &self.names)
    }

    /// Judges a file next to the alerts.
    ///
    /// # Errors
    /// A [`Failure`] that names the file and the reason.
    pub(crate) fn judge_around(&self, name: &str, bytes: &[u8]) -> Result<(), Failure> {
        let is_week_page = name.strip_prefix("week/").and_then(|rest| {
            let week = rest.strip_suffix(WEEK_PAGE)?.strip_suffix('/')?;
            week.parse::<IsoWeek>().ok()
        });
        let is_latest = name.split_once('/').is_some_and(|(folder, file)| {
            folder == LATEST && [WEEK_PAGE, LATEST_MANIFEST].contains(&file)
        });
        match PUBLIC_AROUND.contains(&name) || is_week_page.is_some() || is_latest {
            true => self.judge_words(name, bytes),
            false => Err(stopped(name, "it is no public file")),
        }
    }

    /// Judges the stub of a withdrawn alert.
    ///
    /// # Errors
    /// A [`Failure`] that names the file and the reason.
    pub(crate) fn judge_stub(&self, name: &str, bytes: &[u8]) -> Result<(), Failure> {
        self.judge_words(name, bytes)
    }

    pub(crate) fn judge_words(&self, file: &str, bytes: &[u8]) -> Result<(), Failure> {
        let text = std::str::from_utf8(bytes)
            .map_err(|error| stopped(file, "it is not text").caused_by(error))?;
        self.judge_views(file, &views(text, Writing::of_file(file)), Closeness::File)
    }

    /// Judges the note of an alert, its Markdown as it was written: more closely than a file, since somebody may
    /// have spread a name over it, and by the places that its numbers name. `points` are the longitudes and latitudes
    /// of the fields, degrees: those that were known when the alert was made, since a place that a note named before
    /// a field nearby was ever visited says nothing of that field.
    ///
    /// # Errors
    /// A [`Failure`] that says what it holds.
    pub(crate) fn judge_note(&self, note: &str, points: &[(f64, f64)]) -> Result<(), Failure> {
        let views = views(note, Writing::Markdown);
        self.judge_views("the note", &views, Closeness::Note)?;
        let points = PrivatePoints::of(points, self.grid_km);
        let named = views.iter().find_map(|view| points.named_in(view));
        named.map_or(Ok(()), |place| {
            let [one, other] = place.numbers;
            let why = format!(
                "its numbers {one:?} and {other:?} give a point {:.1} km from a field that was visited; the grid of published points is {} km wide",
                place.away_km, self.grid_km
            );
            Err(stopped("the note", &why)
                .mend("write the county instead, or whole degrees; no point is published finer than the grid"))
        })
    }

    fn judge_views(
        &self,
        file: &str,
        views: &[String],
        closeness: Closeness,
    ) -> Result<(), Failure> {
        let found = views
            .iter()
            .find_map(|view| self.private.found_in(view, closeness));
        found.map_or(Ok(()), |name| {
            Err(stopped(
                file,
                &format!("it holds {name:?}, the id of a field, a farm, a scout or a visit, in this or another spelling"),
            ))
        })
    }

    fn judge_table(&self, rows: &[Cells], protocol: &str) -> Result<(), String> {
        rows.iter().try_for_each(|row| {
            of_protocol(row, protocol)?;
            self.judge_row(row, &[])
        })
    }

    fn judge_map(&self, features: &[Feature], protocol: &str) -> Result<(), String> {
        let mut points: Vec<(f64, f64)> = Vec::new();
        for feature in features {
            of_protocol(&feature.cells, protocol)?;
            self.judge_row(&feature.cells, &MAP_PROPERTIES)?;
            if let Some(point) = feature
                .positions
                .iter()
                .find(|point| self.is_private(**point))
            {
                return Err(format!(
                    "{point:?} is the point of a field that was visited"
                ));
            }
            if feature.is_point {
                points.extend(&feature.positions);
            }
        }
        self.judge_points(points)
    }

    /// Distinct points are about a grid width apart, so none says more than its cell.
    pub(crate) fn judge_points(&self, mut points: Vec<(f64, f64)>) -> Result<(), String> {
        points.sort_by(|one, other| one.1.total_cmp(&other.1).then(one.0.total_cmp(&other.0)));
        points.dedup();
        // A degree of latitude is at least 110.5 km long.
        let reach = self.grid_km / 110.5;
        for (place, one) in points.iter().enumerate() {
            let near = points[place + 1..]
                .iter()
                .take_while(|other| other.1 - one.1 <= reach);
            for other in near {
                let apart = meters_between(*one, *other) / 1000.0;
                if apart < GRID_SLACK * self.grid_km {
                    return Err(format!(
                        "points {apart:.3} km apart are finer than the grid of {} km",
                        self.grid_km
                    ));
                }
            }
        }
        Ok(())
    }

    pub(crate) fn is_private(&self, point: (f64, f64)) -> bool {
        self.points.contains(&place_of(point))
    }

    /// Judges a row of a table or map: its columns, its place, and that it is a public row. A county of a map without a
    /// row says so, and has no figure.
    pub(crate) fn judge_row(&self, row: &Cells, more: &[&str]) -> Result<(), String> {
        let known = |name: &str| self.columns.contains(name) || more.contains(&name);
        if let Some(name) = row.keys().find(|name| !known(name)) {
            return Err(format!("{name:?} is no public column"));
        }
        let cell = |name: &str| row.get(name).and_then(Option::as_deref);
        // A spreadsheet's apostrophe is put before what would be a formula.
        let plain = |text: &str| text.trim_start_matches('\'').to_owned();
        let place = match (cell("county_id"), cell("place")) {
            (Some(county), _) => {
                if !self.counties.contains(county) && !self.counties.contains(&plain(county)) {
                    return Err(format!(
                        "a row is about {county:?}, which is not a county: a total next to its parts may reveal one"
                    ));
                }
                match self.counties.contains(county) {
                    true => county.to_owned(),
                    false => plain(county),
                }
            }
            (None, Some(place)) => plain(place),
            (None, None) => return Err("a row names no place".to_owned()),
        };
        if cell("status") == Some("no-figures") {
            let names = ["county_id", "county_name", "season", "iso_week", "protocol"];
            let figure = row.iter().find(|(name, value)| {
                let is_name = names.contains(&name.as_str()) || more.contains(&name.as_str());
                value.is_some() && !is_name
            });
            return figure.map_or(Ok(()), |(name, _)| {
                Err(format!("{place} has no figures, and its {name} is there"))
            });
        }
        let mut words = vec![place.clone()];
        words.extend(COMPARED.iter().map(|name| {
            let value = cell(name).map(plain).unwrap_or_default();
            match *name {
                "mean_pressure" => value.parse().map_or(value, number),
                _ => value,
            }
        }));
        let same = |name: &str, value: &str| {
            !row.contains_key(name) || cell(name).map(plain).unwrap_or_default() == value
        };
        let is_public = self.rows.get(&words).is_some_and(|rows| {
            rows.iter().any(|further| {
                FURTHER
                    .iter()
                    .zip(further)
                    .all(|(name, value)| same(name, value))
            })
        });
        match is_public {
            true => Ok(()),
            false => Err(format!("the row of {place} is no public row")),
        }
    }
}

/// A row of another protocol was issued by nobody.
fn of_protocol(row: &Cells, protocol: &str) -> Result<(), String> {
    let found = row.get("protocol").and_then(Option::as_deref);
    match found == Some(protocol) {
        true => Ok(()),
        false => Err(format!(
            "a row is of the protocol {found:?}, and the alert is of {protocol:?}"
        )),
    }
}

/// A file of a scenario says so in its words, or has the column of that name.
fn is_of_scenario(bytes: &[u8]) -> bool {
    let text = String::from_utf8_lossy(bytes);
    let header = text.lines().next().unwrap_or_default();
    text.contains(NOTICE) || header.split(',').any(|name| name == "scenario")
}

fn place_of((lon, lat): (f64, f64)) -> (i64, i64) {
    let whole = |degrees: f64| (degrees / SAME_POINT).round() as i64;
    (whole(lon), whole(lat))
}

/// A file that the gate cannot read, and so not judge.
pub(crate) fn unreadable(file: &str, cause: Cause) -> Failure {
    stopped(file, &cause.to_string()).caused_by(cause)
}

pub(crate) fn stopped(file: &str, why: &str) -> Failure {
    Failure::new(
        Kind::Publish,
        format!("publishing stopped, nothing was written: {file}: {why}"),
    )
    .mend("take it out; confidential data is never published")
}
