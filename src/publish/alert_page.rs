//! The weekly page: one HTML file that needs nothing else, not even a script.
//!
//! Puts the words, the map, the table and the cautions in order. What the words say is decided in
//! `wording.rs`, what the map shows in `drawing.rs`.

use askama::Template;

use crate::failure::{Failure, Kind};
use crate::publish::cautions::{Caution, standing_cautions};
use crate::publish::changes::{CountyChange, changes};
use crate::publish::drawing::{CountyMap, MapTitle, draw_county_map};
use crate::publish::issue::Issue;
use crate::publish::note::Note;
use crate::publish::when::{days_of_county, too_close_to_call, when_due};
use crate::publish::wording::{
    Form, Summary, display_name, display_number, headline, interval_in_words, join_with_and,
    key_facts, paragraph, share_in_words, week_in_words,
};
use crate::region::Region;
use crate::rollup::county_week::{Cell, CountyWeek};

/// What a page is made from.
#[derive(Debug, Clone, Copy)]
pub struct Bulletin<'a> {
    /// ISO 8601 week, as `2026-W30`.
    pub iso_week: &'a str,
    /// The counties.
    pub region: &'a Region,
    /// The county-weeks of this week under this protocol.
    pub rows: &'a [CountyWeek],
    /// Those of the week before, if there are any.
    pub previous: Option<&'a [CountyWeek]>,
    /// What was counted, and what it means.
    pub protocol: &'a ProtocolFacts,
    /// When the page was made, as the caller words it; nothing here reads a clock.
    pub generated_at: &'a str,
    /// Name and version of the program, such as `bractline 0.1.0`.
    pub program_version: &'a str,
    /// The version of the store that the figures were rolled up from.
    pub store_version: i64,
    /// The entomologist's own words.
    pub note: Option<&'a Note>,
    /// What it is issued as; `None` of a draft.
    pub issue: Option<&'a Issue>,
}

/// What a page says about a protocol, in words for readers.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct ProtocolFacts {
    /// The protocol's id, such as `bsm-eggs`.
    pub id: String,
    /// Such as `Banded sunflower moth, eggs on bracts`.
    pub title: String,
    /// The crop.
    pub crop: String,
    /// What the field mean counts, such as `eggs per six bracts`.
    pub counted: String,
    /// `economic injury level` or `economic threshold`.
    pub threshold_name: String,
    /// The crop stages in which the count has a meaning, such as `R2–R3`.
    pub stage_window: String,
    /// The crop stage at which to treat, such as `R5.1`, if the protocol names one.
    pub treatment_stage: Option<String>,
    /// When to treat and why then, in sentences.
    pub treatment: Option<String>,
    /// What becomes of the eggs, or whatever is counted, and when; in sentences.
    pub hatch: Option<String>,
    /// Where the threshold was published.
    pub source: String,
    /// The protocol's own cautions, a sentence or more each.
    pub cautions: Vec<String>,
}

/// The page as HTML.
///
/// # Errors
/// A [`Failure`] if the week is no ISO 8601 week, or a row is of another week, another protocol or
/// a county that the region does not have, or comes twice.
pub fn alert_html(bulletin: &Bulletin) -> Result<String, Failure> {
    let week = week_in_words(bulletin.iso_week).ok_or_else(|| {
        Failure::new(
            Kind::Publish,
            format!("{:?} is no ISO 8601 week", bulletin.iso_week),
        )
        .mend("write the week as 2026-W30")
    })?;
    check_rows(bulletin)?;
    let summary = Summary::of(bulletin.region, bulletin.rows);
    let protocol = bulletin.protocol;
    let title = MapTitle {
        subject: &protocol.title,
        week: &week,
    };
    let without_outline = bulletin.region.without_shape().iter();
    let without_outline: Vec<_> = without_outline.map(|c| summary.name(&c.id)).collect();
    Page {
        headline: headline(&summary),
        key_facts: facts_of(bulletin, &summary),
        due: when_due(bulletin.rows, protocol.treatment_stage.as_deref()),
        paragraph: paragraph(bulletin),
        map: draw_county_map(bulletin.region, bulletin.rows, title),
        table: table_rows(bulletin, &summary),
        without_visits: join_with_and(&summary.without_visits),
        without_outline: join_with_and(&without_outline),
        cautions: standing_cautions(&protocol.crop, protocol.treatment_stage.as_deref()),
        changes: changes_of(bulletin),
        region: display_name(bulletin.region.title()),
        week: &week,
        bulletin,
        protocol,
    }
    .render()
    .map_err(|error| {
        Failure::new(
            Kind::Publish,
            format!("cannot write the alert page: {error}"),
        )
    })
}

/// Of a correction: the counties of which something else is said now.
pub(super) fn changes_of(bulletin: &Bulletin) -> Option<Vec<CountyChange>> {
    let replaced = bulletin.issue?.replaces.as_ref()?;
    Some(changes(bulletin.region, &replaced.rows, bulletin.rows))
}

#[derive(Template)]
#[template(path = "alert.html", config = "src/publish/templates/askama.toml")]
struct Page<'a> {
    headline: String,
    key_facts: Vec<(&'static str, String)>,
    due: Option<String>,
    paragraph: String,
    map: CountyMap,
    table: Vec<TableRow>,
    without_visits: Option<String>,
    without_outline: Option<String>,
    cautions: Vec<Caution>,
    changes: Option<Vec<CountyChange>>,
    region: String,
    week: &'a str,
    bulletin: &'a Bulletin<'a>,
    protocol: &'a ProtocolFacts,
}

/// The lines under the headline.
fn facts_of(bulletin: &Bulletin, summary: &Summary) -> Vec<(&'static str, String)> {
    let mut facts = key_facts(summary);
    facts.extend(too_close_to_call(bulletin.rows).map(|said| ("Too close to call", said)));
    facts
}

/// A county in the table; cells as text, so that the page rounds nothing.
struct TableRow {
    county: String,
    at_threshold: bool,
    cells: Cells,
}

/// What stands beside the county's name.
enum Cells {
    Figures {
        visited: i64,
        at_threshold: i64,
        share: String,
        interval: String,
        median: String,
        highest: String,
        due: String,
        outside_stage: String,
    },
    OutsideStage {
        outside_stage: String,
    },
    TooFewFields,
}

/// The counties with visits, by name: whoever looks for one county finds it, and none is ranked by
/// figures whose intervals overlap.
fn table_rows(bulletin: &Bulletin, summary: &Summary) -> Vec<TableRow> {
    let mut rows: Vec<_> = bulletin
        .rows
        .iter()
        .map(|row| TableRow {
            county: summary.name(&row.county_id),
            at_threshold: row.figures().is_some_and(|f| f.fields_at_threshold > 0),
            cells: cells(row),
        })
        .collect();
    rows.sort_by(|one, other| one.county.cmp(&other.county));
    rows
}

fn cells(row: &CountyWeek) -> Cells {
    let outside_stage = row.fields_outside_stage.unwrap_or_default().to_string();
    let pressure = |value| display_number(value, Form::Pressure);
    match row.figures() {
        Some(figures) => Cells::Figures {
            visited: figures.fields_visited,
            at_threshold: figures.fields_at_threshold,
            share: share_in_words(&figures),
            interval: interval_in_words(&figures, "–"),
            median: pressure(figures.median_pressure),
            highest: pressure(figures.max_pressure),
            due: days_of_county(row).unwrap_or_default(),
            outside_stage,
        },
        None if row.cell() == Cell::Suppressed => Cells::TooFewFields,
        None => Cells::OutsideStage { outside_stage },
    }
}

fn check_rows(bulletin: &Bulletin) -> Result<(), Failure> {
    let mut seen = std::collections::HashSet::new();
    let counties: std::collections::HashSet<&str> =
        bulletin.region.counties().iter().map(|c| &*c.id).collect();
    for row in bulletin.rows {
        let broken = if row.iso_week != bulletin.iso_week {
            "a row is of another week than the page"
        } else if row.protocol != bulletin.protocol.id {
            "a row is of another protocol than the page"
        } else if !counties.contains(&*row.county_id) {
            "the county of a row is not in the region"
        } else if !seen.insert(&*row.county_id) {
            "a county comes twice"
        } else {
            continue;
        };
        let place = format!(
            "county {}, {}, {}",
            row.county_id, row.iso_week, row.protocol
        );
        return Err(Failure::new(Kind::Publish, broken).at(place));
    }
    Ok(())
}
