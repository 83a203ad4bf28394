//! Seasons compared on one page that needs nothing else: a heat strip of the region, one of each county, and what
//! may be said of a trend.
//!
//! Takes finished seasons and verdicts; computes no figure.

use std::collections::BTreeMap;

use askama::Template;

use super::alert_page::Inline;
use super::cautions::IN_ONE_SENTENCE;
use super::chart::Chart;
use super::classes::Class;
use super::county_map::swatch;
use super::season_place::season_place_in_words;
use super::shown_names::{display_name, display_names};
use super::unseen::plain_text;
use super::week_strip::draw_week_strip;
use crate::failure::{Failure, Kind};
use crate::region::Region;
use crate::rollup::season_weeks::SeasonWeek;
use crate::rollup::seasons::{Figure, FigureTrend, Place, Season};

/// The page as HTML.
///
/// # Errors
/// A [`Failure`] if the template cannot be filled.
pub fn trend_html(
    region: &Region,
    seasons: &[Season],
    trends: &[FigureTrend],
    weeks: &[SeasonWeek],
    heat: &Heat,
    store_version: i64,
) -> Result<String, Failure> {
    let mut years: Vec<i32> = seasons.iter().map(|season| season.season).collect();
    years.sort_unstable();
    years.dedup();
    let scale = Class::ALL
        .into_iter()
        .filter(|class| matches!(class, Class::NoneFound | Class::Median(_)));
    Page {
        region: display_name(region.title()),
        notice: region.invented().map(plain_text),
        years: years_in_words(&years),
        protocols: protocols_of(region, seasons, trends, &|place, protocol| {
            place_now(weeks, place, protocol, heat)
        }),
        heat: heat.said.clone(),
        scale: scale
            .map(|class| (swatch(class), class.words().replace("median ", "")))
            .collect(),
        caution: IN_ONE_SENTENCE,
        store_version,
        style: Inline::of(include_str!("templates/alert.css")),
    }
    .render()
    .map_err(|error| {
        Failure::new(
            Kind::Publish,
            format!("cannot write the page of seasons: {error}"),
        )
    })
}

/// What is known of heat.
#[derive(Debug, Clone)]
pub struct Heat {
    /// Month and day from which it is summed; `None` without temperatures.
    pub from: Option<(i8, i8)>,
    /// The same and what there is of it, in a sentence.
    pub said: String,
}

#[derive(Template)]
#[template(path = "trend.html", config = "src/publish/templates/askama.toml")]
struct Page {
    region: String,
    notice: Option<String>,
    years: String,
    protocols: Vec<OfProtocol>,
    /// Swatch and words of each class.
    scale: Vec<(String, String)>,
    /// What degree-days there are.
    heat: String,
    caution: &'static str,
    store_version: i64,
    style: Inline,
}

/// What the page says of one protocol.
struct OfProtocol {
    id: String,
    places: Vec<OfPlace>,
}

/// What it says of one place.
struct OfPlace {
    name: String,
    strip: Chart,
    /// What each season rests on.
    rests_on: String,
    /// What may be said of its figures over the seasons.
    trend: String,
    /// Where its newest week stands among earlier seasons, where enough have figures.
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

/// The newest week of a place, if there are enough earlier seasons to say where it stands.
fn place_now(weeks: &[SeasonWeek], place: &Place, protocol: &str, heat: &Heat) -> Option<String> {
    let of_place = |week: &&SeasonWeek| week.place == *place && week.protocol == protocol;
    let now = weeks.iter().rfind(of_place)?;
    now.at_week.percentile()?;
    let said = season_place_in_words(now, heat.from);
    Some(format!("{}: {said}", now.iso_week()))
}

fn protocols_of(
    region: &Region,
    seasons: &[Season],
    trends: &[FigureTrend],
    now: &dyn Fn(&Place, &str) -> Option<String>,
) -> Vec<OfProtocol> {
    let names = display_names(region);
    let mut grouped: BTreeMap<&str, Places> = BTreeMap::new();
    for season in seasons {
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
    grouped
        .into_iter()
        .map(|(id, places)| {
            let weeks = || places.values().flatten().flat_map(|season| &season.weeks);
            let ends = weeks()
                .map(|week| week.week)
                .min()
                .zip(weeks().map(|week| week.week).max());
            let places = places.iter().filter_map(|((_, name, place), seasons)| {
                let shown = seasons.iter().any(|season| !season.weeks.is_empty());
                let (first, last) = ends.filter(|_| shown)?;
                number += 1;
                Some(OfPlace {
                    name: name.clone(),
                    strip: draw_week_strip(
                        &format!("strip-{number}"),
                        name,
                        seasons,
                        [first, last],
                    ),
                    rests_on: rests_on(seasons),
                    trend: trend_in_words(trends, place, id),
                    now: now(place, id),
                })
            });
            let places = places.collect();
            OfProtocol {
                id: id.to_owned(),
                places,
            }
        })
        .collect()
}

/// How many field-weeks each season rests on, so that nobody takes more visits for more insects.
fn rests_on(seasons: &[&Season]) -> String {
    let counts: Vec<String> = seasons
        .iter()
        .map(|season| format!("{}: {}", season.season, season.field_weeks))
        .collect();
    format!("Fields in weeks shown, {}.", counts.join(", "))
}

fn trend_in_words(trends: &[FigureTrend], place: &Place, protocol: &str) -> String {
    let of_place = |trend: &&FigureTrend| trend.place == *place && trend.protocol == protocol;
    let told: Vec<String> = trends
        .iter()
        .filter(of_place)
        .filter_map(|trend| {
            let figure = match trend.figure {
                Figure::FirstAtHalf => "the week of the first pressure of 0.5",
                Figure::PeakWeek => "the week of the peak",
                Figure::PeakPressure => "the peak",
                Figure::ShareOfWeeks => "the share of weeks at threshold",
                Figure::PressurePerWeek => "the mean level",
                Figure::FirstAtHalfHeat => "the heat at the first pressure of 0.5",
                Figure::PeakHeat => "the heat at the peak",
                Figure::MeanPressureByHeat => "the mean level by heat",
            };
            let p_value = trend.trend.as_ref()?.p_value();
            match trend.word() {
                word @ ("rises" | "falls") => Some(format!("{figure} {word} (p {p_value:.3})")),
                _ => None,
            }
        })
        .collect();
    let enough = trends
        .iter()
        .filter(of_place)
        .any(|trend| trend.word() != "too-few-seasons");
    match (told.is_empty(), enough) {
        (false, _) => format!("Over the seasons {}.", told.join(", ")),
        (true, true) => "No figure's trend can be told from chance.".to_owned(),
        (true, false) => "Too few seasons to speak of a trend.".to_owned(),
    }
}
