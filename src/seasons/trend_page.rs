//! Seasons compared on one page that needs nothing else: under each pest a small map of each week of its newest season, a
//! heat strip of the region, one of each county, and whether any figure has a trend.
//!
//! Takes finished seasons and verdicts; computes no figure.

use std::collections::BTreeMap;

use askama::Template;

use super::season::{Figure, FigureTrend, Season};
use super::season_place::season_place_in_words;
use super::season_weeks::SeasonWeek;
use super::week_strip::{draw_week_strip, strip_classes};
use crate::figures::map::small_map::SmallMaps;
use crate::figures::place::Place;
use crate::shared::cautions::IN_ONE_SENTENCE;
use crate::shared::chart::Chart;
use crate::shared::count_words::CountWords;
use crate::shared::page::Inline;
use crate::shared::page::swatch;
use crate::shared::passages::sentence_case;
use crate::shared::shown_days::named_week_in_words;
use crate::shared::shown_names::{display_name, display_names};
use crate::shared::shown_numbers::Units;
use crate::shared::unseen::plain_text;
use disclosure::public_row::PublicRow;
use scouting::failure::{Failure, Kind};
use scouting::protocol::catalogue::Catalogue;
use scouting::region::Region;
use stats::trend::score_needed::SEASONS_LEAST;
use stats::trend::season_trend::SeasonTrend;
use stats::trend::theil_sen::SlopeInterval;

/// What the page is made from.
#[derive(Debug, Clone, Copy)]
pub(crate) struct ComparedSeasons<'a> {
    /// The counties.
    pub region: &'a Region,
    /// The titles of protocols.
    pub catalogue: &'a Catalogue,
    /// The seasons of every place and protocol, in their order.
    pub seasons: &'a [Season],
    /// The rows that all of it is made of.
    pub rows: &'a [PublicRow],
    /// The trends of their figures.
    pub trends: &'a [FigureTrend],
    /// The rank of every week among earlier seasons.
    pub weeks: &'a [SeasonWeek],
    /// Which degree-days are known.
    pub heat: &'a Heat,
    /// Which season starts its weeks on which day, where they differ.
    pub week_starts: Option<&'a str>,
    /// Version of the store that it was made from.
    pub store_version: i64,
    /// The notice that the page is based on rows that are not public, if it does.
    pub private: Option<&'a str>,
}

/// The page as HTML.
///
/// # Errors
/// A [`Failure`] if the template cannot be filled.
pub(crate) fn trend_html(compared: &ComparedSeasons) -> Result<String, Failure> {
    let mut years: Vec<i32> = compared
        .seasons
        .iter()
        .map(|season| season.season)
        .collect();
    years.sort_unstable();
    years.dedup();
    let seasons = compared.seasons.iter();
    let words = CountWords::of_all(
        seasons.filter_map(|season| compared.catalogue.protocol(&season.protocol)),
    );
    let maps = SmallMaps::of(compared.region);
    Page {
        region: display_name(compared.region.title()),
        notice: compared.region.invented().map(plain_text),
        private: compared.private,
        years: years_in_words(&years),
        protocols: protocols_of(compared, &maps),
        heat: compared.heat.said.clone(),
        week_starts: compared.week_starts,
        scale: strip_classes()
            .map(|class| (swatch(class), class.words(words).replace("median ", "")))
            .collect(),
        at: words.at(),
        outlines: maps.outlines(),
        legend: SmallMaps::legend(words),
        caution: IN_ONE_SENTENCE,
        store_version: compared.store_version,
        style: Inline::of(STYLE),
    }
    .render()
    .map_err(|error| Failure::because(Kind::Publish, "cannot write the page of seasons", error))
}

/// The style of an alert, of small maps, and of this page on paper.
const STYLE: &str = concat!(
    include_str!("../shared/templates/alert.css"),
    include_str!("../shared/templates/small_maps.css"),
    include_str!("../shared/templates/trend.css")
);

/// Which degree-days are known.
#[derive(Debug, Clone)]
pub(crate) struct Heat {
    /// Month and day from which they are summed; `None` without temperatures.
    pub from: Option<(i8, i8)>,
    /// The same, and for how many weeks they are known, in a sentence.
    pub said: String,
    /// Units in which the page gives their sums.
    pub units: Units,
}

#[derive(Template)]
#[template(path = "trend.html", config = "src/shared/templates/askama.toml")]
struct Page<'a> {
    region: String,
    notice: Option<String>,
    private: Option<&'a str>,
    years: String,
    protocols: Vec<OfProtocol>,
    /// Swatch and words of each class.
    scale: Vec<(String, String)>,
    /// Which degree-days are known.
    heat: String,
    week_starts: Option<&'a str>,
    /// `at threshold`.
    at: &'static str,
    /// The counties, once for all small maps.
    outlines: &'a str,
    /// What their white, gray and outline mean.
    legend: String,
    caution: &'static str,
    store_version: i64,
    style: Inline,
}

/// What the page says of one protocol that has weeks with a pressure.
struct OfProtocol {
    /// Its title; its id where the catalog does not have it.
    title: String,
    /// Its newest season.
    season: i32,
    /// The week in words and the small map of each week of that season.
    maps: Vec<(String, String)>,
    places: Vec<OfPlace>,
}

/// What it says of one place.
struct OfPlace {
    name: String,
    strip: Chart,
    /// The sample size of each season.
    rests_on: String,
    /// Which figures have a trend over the seasons.
    trend: String,
    /// The rank of its newest week among earlier seasons, where there are enough of them.
    now: Option<String>,
}

fn years_in_words(years: &[i32]) -> String {
    match years {
        [] => "no season".to_owned(),
        [one] => one.to_string(),
        [first, .., last] => format!("{first} to {last}"),
    }
}

/// The seasons of each place; the region first, then the counties by name.
type Places<'a> = BTreeMap<(bool, String, &'a Place), Vec<&'a Season>>;

/// The newest week of a place, if there are enough earlier seasons to rank it among.
fn place_now(compared: &ComparedSeasons, place: &Place, protocol: &str) -> Option<String> {
    let of_place = |week: &&SeasonWeek| week.place == *place && week.protocol == protocol;
    let now = compared.weeks.iter().rfind(of_place)?;
    now.at_week.rank()?;
    let known = compared.catalogue.protocol(protocol);
    let words = known.map_or(CountWords::Either, CountWords::of);
    let said = season_place_in_words(now, compared.heat.from, (words, compared.heat.units));
    Some(format!("{}: {said}", now.iso_week()))
}

/// A small map of each week of the newest season under a protocol, and that season.
fn season_maps(
    compared: &ComparedSeasons,
    maps: &SmallMaps,
    (protocol, title): (&str, &str),
    words: CountWords,
) -> (i32, Vec<(String, String)>) {
    let rows = || compared.rows.iter().filter(|row| row.protocol == protocol);
    let season = rows().map(|row| row.season).max().unwrap_or_default();
    let mut weeks: BTreeMap<&str, Vec<PublicRow>> = BTreeMap::new();
    for row in rows().filter(|row| row.season == season) {
        weeks.entry(&row.iso_week).or_default().push(row.clone());
    }
    let drawn = weeks.into_iter().map(|(iso_week, rows)| {
        let week = named_week_in_words(iso_week, &rows[0].weeks());
        let map = maps.draw(&rows, &format!("{title}, {week}"), words);
        (sentence_case(&week), map)
    });
    (season, drawn.collect())
}

fn protocols_of(compared: &ComparedSeasons, maps: &SmallMaps) -> Vec<OfProtocol> {
    let names = display_names(compared.region);
    let mut grouped: BTreeMap<&str, Places> = BTreeMap::new();
    for season in compared.seasons {
        let key = match &season.place {
            Place::Region => (false, "The region".to_owned(), &season.place),
            Place::County(id, name) => {
                let name = names
                    .get(&**id)
                    .cloned()
                    .unwrap_or_else(|| display_name(name));
                (true, name, &season.place)
            }
        };
        let places = grouped.entry(&season.protocol).or_default();
        places.entry(key).or_default().push(season);
    }
    let mut number = 0;
    let protocols = grouped.into_iter().filter_map(|(id, places)| {
        let weeks = || places.values().flatten().flat_map(|season| &season.weeks);
        let first = weeks().map(|week| week.week).min()?;
        let last = weeks().map(|week| week.week).max()?;
        let with_weeks = places
            .iter()
            .filter(|(_, seasons)| seasons.iter().any(|season| !season.weeks.is_empty()));
        let known = compared.catalogue.protocol(id);
        let words = known.map_or(CountWords::Either, CountWords::of);
        let places = with_weeks.map(|((_, name, place), seasons)| {
            number += 1;
            let strip_id = format!("strip-{number}");
            OfPlace {
                name: name.clone(),
                strip: draw_week_strip(&strip_id, name, seasons, [first, last]),
                rests_on: rests_on(seasons),
                trend: trend_in_words(compared.trends, place, id, words),
                now: place_now(compared, place, id),
            }
        });
        let places = places.collect();
        let title = plain_text(known.map_or(id, |protocol| &protocol.title));
        let (season, maps) = season_maps(compared, maps, (id, &title), words);
        Some(OfProtocol {
            title,
            season,
            maps,
            places,
        })
    });
    let mut protocols: Vec<OfProtocol> = protocols.collect();
    protocols.sort_by(|one, other| one.title.cmp(&other.title));
    protocols
}

/// How many field-weeks each season is based on, so that nobody takes more visits for more pests.
fn rests_on(seasons: &[&Season]) -> String {
    let counts: Vec<String> = seasons
        .iter()
        .map(|season| format!("{} in {}", season.field_weeks, season.season))
        .collect();
    format!("Based on field-weeks: {}.", counts.join(", "))
}

fn trend_in_words(
    trends: &[FigureTrend],
    place: &Place,
    protocol: &str,
    words: CountWords,
) -> String {
    let of_place = |trend: &&FigureTrend| trend.place == *place && trend.protocol == protocol;
    let found: Vec<String> = trends
        .iter()
        .filter(of_place)
        .filter_map(|trend| {
            let figure = match trend.figure {
                Figure::FirstAtHalf => "the week of the first pressure of 0.5".to_owned(),
                Figure::PeakWeek => "the week of the peak".to_owned(),
                Figure::ShareOfFields => format!("the share of {} {}", words.several(), words.at()),
                Figure::PressureWeeks => "the area under the pressure".to_owned(),
                Figure::PressurePerWeek => "the mean level".to_owned(),
                Figure::FirstAtHalfHeat => "degree-days at the first pressure of 0.5".to_owned(),
                Figure::PeakHeat => "degree-days at the peak".to_owned(),
                Figure::MeanPressureByHeat => "the mean level by degree-days".to_owned(),
            };
            match trend.word() {
                word @ ("rises" | "falls") => Some(format!(
                    "{figure} {word} {}",
                    slope_in_words(trend.trend.as_ref()?)?
                )),
                _ => None,
            }
        })
        .collect();
    let enough = trends
        .iter()
        .filter(of_place)
        .any(|trend| !["too-few-seasons", "not-reached"].contains(&trend.word()));
    match (found.is_empty(), enough) {
        (false, _) => format!("Trend over the seasons: {}.", found.join("; ")),
        (true, true) => format!(
            "No significant trend.{}",
            overlooked(trends.iter().filter(of_place)).unwrap_or_default()
        ),
        (true, false) => {
            format!("Too few seasons to test for a trend: it takes {SEASONS_LEAST}.")
        }
    }
}

/// `by 0.12 a year (95% interval 0.05 to 0.20)`.
fn slope_in_words(trend: &SeasonTrend) -> Option<String> {
    let SlopeInterval { low, high } = trend.interval?;
    let slope = trend.line.slope;
    let [size, least, most] = match slope < 0.0 {
        true => [-slope, -high, -low],
        false => [slope, low, high],
    };
    Some(format!(
        "by {size:.2} a year (interval {least:.2} to {most:.2})"
    ))
}

/// Which change of the mean level these seasons could not show: no trend found is no proof that there is none.
fn overlooked<'a>(mut trends: impl Iterator<Item = &'a FigureTrend>) -> Option<String> {
    let level = trends.find(|trend| trend.figure == Figure::PressurePerWeek)?;
    let detectable = level.trend.as_ref()?.detectable?;
    Some(format!(
        " {} seasons show large changes only: a steady change of the mean level by less than {detectable:.2} a year \
         would be overlooked in one of five cases or more.",
        level.seasons.len()
    ))
}
