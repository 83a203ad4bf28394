//! The weekly page: one HTML file that needs nothing else. Its one script sorts the table; without it the page
//! is complete.
//!
//! Puts the words, the map, the table, the charts and the cautions in order. What the words say is decided in
//! `wording.rs`, what the map shows in `county_map.rs`, what the table contains in `county_table.rs`.

use askama::Template;

use super::answers::{Answers, answers};
use super::changes::{PlaceChange, changes_of};
use super::county_map::{CountyMap, MapTitle, draw_county_map};
use super::county_table::{TableRow, counties_without_figures, table_rows};
use super::districts::{AreaLine, area_lines};
use super::last_week::{LastWeekMap, last_week_map};
use super::pressure_bars::draw_pressure_bars;
use super::season_curve::{SeasonCurve, draw_season_curve};
use super::stage_bars::draw_stage_bars;
use super::stage_mix::stages_counted;
use super::summary::Summary;
use super::when::when_due;
use super::wording::{coverage_of_counties, headline_of, paragraph, rule_in_words};
use crate::alert::bulletin::{Bulletin, ProtocolFacts};
use crate::figures::office::Office;
use crate::shared::cautions::{Caution, Group, standing_cautions};
use crate::shared::chart::Chart;
use crate::shared::classes::levels_of;
use crate::shared::count_words::CountWords;
use crate::shared::page::Inline;
use crate::shared::passages::sentence_case;
use crate::shared::shown_days::week_in_words;
use crate::shared::shown_names::display_name;
use crate::shared::shown_numbers::join_with_and;
use crate::shared::unseen::plain_text;
use scouting::failure::{Failure, Kind};

/// The page as HTML.
///
/// # Errors
/// A [`Failure`] if the week is no ISO 8601 week, or a row is of another week, another protocol or
/// a county that the region does not have, or comes twice.
pub fn alert_html(bulletin: &Bulletin) -> Result<String, Failure> {
    let week = week_in_words(bulletin.week()?, bulletin.weeks);
    check_rows(bulletin)?;
    let protocol = bulletin.protocol;
    let words = protocol.words();
    let summary = Summary::of(bulletin.region, bulletin.rows, words);
    let title = MapTitle {
        subject: &protocol.title,
        week: &week,
        words,
    };
    let without_outline = bulletin.region.without_shape().iter();
    let without_outline: Vec<_> = without_outline.map(|c| summary.name(&c.id)).collect();
    Page {
        headline: headline_of(bulletin),
        answers: answers(bulletin, &summary),
        stages_counted: stages_counted(&bulletin.so_far.stages, bulletin.iso_week),
        several: sentence_case(words.several()),
        at: sentence_case(words.at()),
        words,
        due: when_due(
            bulletin.rows,
            protocol.treatment_stage.as_deref(),
            &protocol.level_of_one(),
        ),
        paragraph: paragraph(bulletin),
        areas: area_lines(bulletin),
        last_week: last_week_map(bulletin),
        map: draw_county_map(bulletin.region, bulletin.rows, title),
        table: table_rows(bulletin, &summary),
        columns: 7
            + usize::from(bulletin.previous.is_some())
            + usize::from(protocol.treatment_stage.is_some()),
        season_curve: draw_season_curve(bulletin.so_far, words),
        pressure_bars: draw_pressure_bars(
            &bulletin.so_far.pressure,
            &levels_of(bulletin.rows),
            words,
        ),
        stage_bars: draw_stage_bars(&bulletin.so_far.stages),
        coverage: coverage_of_counties(&summary),
        office: Office {
            name: display_name(&bulletin.office.name),
            contact: display_name(&bulletin.office.contact),
            footer: display_name(&bulletin.office.footer),
            logo: bulletin.office.logo.clone(),
        },
        contact: (!bulletin.contact.is_empty()).then(|| display_name(bulletin.contact)),
        style: Inline::of(include_str!("../../shared/templates/alert.css")),
        script: Inline::of(include_str!("../../shared/templates/sort_table.js")),
        without_figures: join_with_and(&counties_without_figures(bulletin, &summary)),
        without_outline: join_with_and(&without_outline),
        cautions: standing_cautions([(&*protocol.crop, protocol.treatment_stage.as_deref())]),
        changes: changes_of(bulletin),
        notice: bulletin.region.invented().map(plain_text),
        source: plain_text(bulletin.region.source()),
        vintage: plain_text(bulletin.region.vintage()),
        region: display_name(bulletin.region.title()),
        rule: rule_in_words(bulletin.rule, words),
        week: &week,
        bulletin,
        protocol,
    }
    .render()
    .map_err(|error| Failure::because(Kind::Publish, "cannot write the alert page", error))
}

#[derive(Template)]
#[template(path = "alert.html", config = "src/shared/templates/askama.toml")]
struct Page<'a> {
    headline: String,
    answers: Answers,
    /// Stages and fields of the week's counts.
    stages_counted: Option<String>,
    /// `Fields`.
    several: String,
    /// `At threshold`.
    at: String,
    words: CountWords,
    due: Option<String>,
    paragraph: String,
    map: CountyMap,
    areas: Vec<AreaLine>,
    last_week: Option<LastWeekMap>,
    table: Vec<TableRow>,
    /// Columns of the table.
    columns: usize,
    season_curve: Option<SeasonCurve>,
    pressure_bars: Option<Chart>,
    stage_bars: Option<Chart>,
    coverage: String,
    /// Its texts as shown.
    office: Office,
    contact: Option<String>,
    style: Inline,
    script: Inline,
    without_figures: Option<String>,
    without_outline: Option<String>,
    cautions: Vec<Caution>,
    changes: Option<Vec<PlaceChange>>,
    notice: Option<String>,
    source: String,
    vintage: String,
    region: String,
    rule: String,
    week: &'a str,
    bulletin: &'a Bulletin<'a>,
    protocol: &'a ProtocolFacts,
}

fn check_rows(bulletin: &Bulletin) -> Result<(), Failure> {
    let mut seen = std::collections::HashSet::new();
    let counties: std::collections::HashSet<&str> =
        bulletin.region.counties().iter().map(|c| &*c.id).collect();
    for row in bulletin.rows {
        let broken = if row.iso_week != bulletin.iso_week {
            "a row is from another week than the page"
        } else if row.protocol != bulletin.protocol.id {
            "a row is of another protocol than the page"
        } else if row.place.county().is_some_and(|id| !counties.contains(id)) {
            "the county of a row is not in the region"
        } else if !seen.insert(&row.place) {
            "a place comes twice"
        } else {
            continue;
        };
        let place = format!(
            "{}, {}, {}",
            row.place.in_words(),
            row.iso_week,
            row.protocol
        );
        return Err(Failure::new(Kind::Publish, broken).at(place));
    }
    Ok(())
}
