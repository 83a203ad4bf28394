//! Seasons of counties and of the region, made of the public rows of counties and of nothing else: what is withheld
//! cannot come out here. The tables are in `season_tables.rs`.
//!
//! A week's pressure is the middle of the class of its median, and its share the middle of the least and the most fields
//! at threshold: more than these is not public. Only rows with a class take part. Shares and classes are compared, never
//! counts, and what adds up over weeks by the weeks that it was seen in. In a week of the region each county counts once,
//! however many visits it had; which counties are shown may differ from season to season.

use std::collections::BTreeMap;

use crate::figures::place::Place;
use crate::figures::week_heat::WeekHeat;
use disclosure::public_row::PublicRow;
use stats::trend::score_needed::SEASONS_LEAST;
use stats::trend::season_course::{
    HeatCourse, SeasonCourse, WeekFigures, course_by_heat, season_course,
};
use stats::trend::season_trend::{SeasonTrend, Verdict, season_trend};
use store::stages::inputs::RegionCounty;

/// One season of a place under a protocol.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Season {
    /// Where.
    pub place: Place,
    /// A protocol's id.
    pub protocol: String,
    /// The ISO week-year.
    pub season: i32,
    /// County-weeks with a class of the median: the season is based on these.
    pub weeks_shown: usize,
    /// Fields visited in these county-weeks, one a field and week.
    pub field_weeks: i64,
    /// Of these, those at threshold: the middle of the least and the most.
    pub fields_at_threshold: f64,
    /// The weeks with figures, in their order.
    pub weeks: Vec<WeekFigures>,
    /// Degree-days (°C) accumulated by each of them; `None` where they are not known.
    pub heat: Vec<Option<f64>>,
    /// The season in figures; `None` where no week is shown.
    pub course: Option<SeasonCourse>,
    /// The same by heat; `None` where no week is shown or no heat is known.
    pub by_heat: Option<HeatCourse>,
}

impl Season {
    /// Share of the fields visited that are at threshold, over all its weeks.
    pub(crate) fn share_of_fields_at_threshold(&self) -> Option<f64> {
        (self.field_weeks > 0).then(|| self.fields_at_threshold / self.field_weeks as f64)
    }
}

/// A figure of a season that is compared.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Figure {
    /// Week of the year with the first pressure of 0.5 or more.
    FirstAtHalf,
    /// Week of the year with the highest pressure.
    PeakWeek,
    /// Share of the fields visited that are at threshold, over all weeks.
    ShareOfFields,
    /// Area under the pressure.
    PressureWeeks,
    /// Area under the pressure, by the weeks that it covers.
    PressurePerWeek,
    /// Degree-days accumulated by the first week with a pressure of 0.5 or more.
    FirstAtHalfHeat,
    /// Degree-days accumulated by the week of the highest pressure.
    PeakHeat,
    /// Area under the pressure over the heat, by the heat that it covers.
    MeanPressureByHeat,
}

impl Figure {
    /// Those of the calendar. The highest weekly pressure and the share of weeks at threshold are not compared: with the
    /// same pest, fewer fields give a higher peak, and fewer weeks a higher share (`tests/benches/TRENDS.md`).
    const BY_CALENDAR: [Figure; 5] = [
        Figure::FirstAtHalf,
        Figure::PeakWeek,
        Figure::ShareOfFields,
        Figure::PressureWeeks,
        Figure::PressurePerWeek,
    ];
    /// Those that take temperatures.
    const BY_HEAT: [Figure; 3] = [
        Figure::FirstAtHalfHeat,
        Figure::PeakHeat,
        Figure::MeanPressureByHeat,
    ];

    /// Its name in the tables.
    pub(crate) fn name(self) -> &'static str {
        match self {
            Figure::FirstAtHalf => "first_at_half",
            Figure::PeakWeek => "peak_week",
            Figure::ShareOfFields => "share_of_fields_at_threshold",
            Figure::PressureWeeks => "pressure_weeks",
            Figure::PressurePerWeek => "pressure_per_week",
            Figure::FirstAtHalfHeat => "first_at_half_heat",
            Figure::PeakHeat => "peak_heat",
            Figure::MeanPressureByHeat => "mean_pressure_by_heat",
        }
    }

    /// Whether a season got as far as the figure's week: one that did not has no such week, and to leave it out would make
    /// the others look like all of them.
    fn is_reached(self, season: &Season) -> bool {
        let Some(course) = &season.course else {
            return true;
        };
        match self {
            Figure::FirstAtHalf | Figure::FirstAtHalfHeat => course.first_at_half.is_some(),
            Figure::PeakWeek | Figure::PeakHeat => course.peak_week.is_some(),
            _ => true,
        }
    }

    fn of(self, season: &Season) -> Option<f64> {
        let (course, heat) = (season.course.as_ref()?, season.by_heat.as_ref());
        match self {
            Figure::FirstAtHalf => course.first_at_half.map(f64::from),
            Figure::PeakWeek => course.peak_week.map(f64::from),
            Figure::ShareOfFields => season.share_of_fields_at_threshold(),
            Figure::PressureWeeks => course.pressure_weeks,
            Figure::PressurePerWeek => course.pressure_per_week(),
            Figure::FirstAtHalfHeat => heat?.first_at_half,
            Figure::PeakHeat => heat?.peak,
            Figure::MeanPressureByHeat => heat?.mean_pressure(),
        }
    }
}

/// A figure of a place over its seasons.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct FigureTrend {
    /// Where.
    pub place: Place,
    /// A protocol's id.
    pub protocol: String,
    /// What is compared.
    pub figure: Figure,
    /// Seasons that have the figure.
    pub seasons: Vec<i32>,
    /// Whether every season got as far, or there are too few of them anyhow; else no trend is tested.
    pub reached: bool,
    /// The trend; `None` for fewer than two seasons, or where not every season got as far.
    pub trend: Option<SeasonTrend>,
}

impl FigureTrend {
    /// The verdict, in a word of the tables.
    pub(crate) fn word(&self) -> &'static str {
        match self.trend.as_ref().map(|trend| trend.verdict) {
            None if !self.reached => "not-reached",
            Some(Verdict::Rises) => "rises",
            Some(Verdict::Falls) => "falls",
            Some(Verdict::NotSignificant) => "not-significant",
            Some(Verdict::TooFewSeasons) | None => "too-few-seasons",
        }
    }
}

/// The seasons of every place and protocol, in their order, with the degree-days of their weeks where these are known.
/// `rows` may hold rows of any place: those of places that are no county are left out.
pub(crate) fn seasons_of(
    rows: &[PublicRow],
    counties: &[RegionCounty],
    heat: &WeekHeat,
) -> Vec<Season> {
    let names: BTreeMap<&str, &str> = counties
        .iter()
        .map(|county| (&*county.id, &*county.name))
        .collect();
    let mut grouped: BTreeMap<(Place, &str, i32), Vec<&PublicRow>> = BTreeMap::new();
    for row in rows {
        let Some(id) = row.place.county() else {
            continue;
        };
        let name = names.get(id).copied().unwrap_or(id);
        let county = Place::County(id.to_owned(), name.to_owned());
        for place in [Place::Region, county] {
            let group = grouped.entry((place, &row.protocol, row.season));
            group.or_default().push(row);
        }
    }
    let seasons = grouped
        .into_iter()
        .map(|((place, protocol, season), rows)| {
            let shown = rows.iter().filter(|row| row.median.is_some());
            let weeks = weekly(&rows);
            let heat = heat_of(&place, protocol, season, &weeks, heat);
            let course = season_course(&weeks);
            let known = course.as_ref().filter(|_| heat.iter().any(Option::is_some));
            Season {
                by_heat: known.map(|course| course_by_heat(course, &weeks, &heat)),
                heat,
                place,
                protocol: protocol.to_owned(),
                season,
                weeks_shown: shown.clone().count(),
                fields_at_threshold: shown
                    .clone()
                    .map(|row| f64::from(row.at_threshold[0] + row.at_threshold[1]) / 2.0)
                    .sum(),
                field_weeks: shown.map(|row| i64::from(row.fields_visited)).sum(),
                course,
                weeks,
            }
        });
    seasons.collect()
}

fn heat_of(
    place: &Place,
    protocol: &str,
    season: i32,
    weeks: &[WeekFigures],
    heat: &WeekHeat,
) -> Vec<Option<f64>> {
    let at = |week: &WeekFigures| {
        let iso_week = format!("{season}-W{:02}", week.week).parse().ok()?;
        heat.at(place, protocol, iso_week)
    };
    weeks.iter().map(at).collect()
}

/// The trends of every figure of every place and protocol, in their order; those by degree-days where any are known.
pub(crate) fn trends_of(seasons: &[Season]) -> Vec<FigureTrend> {
    let heat_is_known = seasons.iter().any(|season| season.by_heat.is_some());
    let by_heat = Figure::BY_HEAT.into_iter().filter(|_| heat_is_known);
    let figures: Vec<Figure> = Figure::BY_CALENDAR.into_iter().chain(by_heat).collect();
    let same =
        |one: &Season, other: &Season| one.place == other.place && one.protocol == other.protocol;
    let groups = seasons.chunk_by(same);
    let trends = groups.flat_map(|group| {
        figures.iter().map(move |figure| {
            let figure = *figure;
            let values: Vec<(i32, f64)> = group
                .iter()
                .filter_map(|season| Some((season.season, figure.of(season)?)))
                .collect();
            let reached =
                group.len() < SEASONS_LEAST || group.iter().all(|season| figure.is_reached(season));
            FigureTrend {
                place: group[0].place.clone(),
                protocol: group[0].protocol.clone(),
                figure,
                seasons: values.iter().map(|(season, _)| *season).collect(),
                trend: season_trend(&values).filter(|_| reached),
                reached,
            }
        })
    });
    trends.collect()
}

/// Share and pressure of each week: means over its counties of the middle share and of the middle of the class of the
/// median. Counties are summed in the order of their ids, since the last digits depend on the order of a sum.
fn weekly(rows: &[&PublicRow]) -> Vec<WeekFigures> {
    /// County, middle share and middle of the class of the median.
    type CountyFigures<'a> = (Option<&'a str>, f64, f64);
    let mut weeks: BTreeMap<i32, Vec<CountyFigures>> = BTreeMap::new();
    for row in rows {
        let week = row
            .iso_week
            .split_once("-W")
            .and_then(|(_, week)| week.parse().ok());
        if let (Some(week), Some(share), Some(class)) = (week, row.share_middle(), row.median) {
            let counties = weeks.entry(week).or_default();
            counties.push((row.place.county(), share, class.middle()));
        }
    }
    let weeks = weeks.into_iter().map(|(week, mut counties)| {
        counties.sort_by_key(|(county, _, _)| *county);
        let count = counties.len() as f64;
        WeekFigures {
            week,
            share_at_threshold: counties.iter().map(|(_, share, _)| share).sum::<f64>() / count,
            pressure: counties.iter().map(|(_, _, class)| class).sum::<f64>() / count,
        }
    });
    weeks.collect()
}

#[cfg(test)]
mod tests {
    use jiff::civil::date;

    use super::*;
    use disclosure::median_class::MedianClass;
    use disclosure::place;
    use disclosure::rule::Level;
    use scouting::visit::week::WeekStart;

    const HALF: MedianClass = class(0.25, Some(0.5));
    const HIGHEST: MedianClass = class(1.5, None);

    const fn class(from: f64, below: Option<f64>) -> MedianClass {
        MedianClass {
            from,
            below,
            nothing_found: false,
        }
    }

    fn row(
        place: place::Place,
        week: &str,
        at_threshold: [u32; 2],
        median: Option<MedianClass>,
    ) -> PublicRow {
        PublicRow {
            place,
            season: 2026,
            iso_week: format!("2026-{week}"),
            week_starts: WeekStart::MONDAY,
            protocol: "bsm-eggs".to_owned(),
            edition: 1,
            visits_until: date(2026, 8, 1),
            level: Level::Survey,
            fields_visited: 10,
            at_threshold,
            median,
            mean_pressure: None,
            fields_with_assumed_economics: None,
            fields_outside_stage: Some(0),
            treatment_weeks: None,
            window_basis: None,
            stages: Vec::new(),
            cells: Vec::new(),
        }
    }

    fn seasons(rows: &[PublicRow]) -> Vec<Season> {
        let counties = ["A", "B"].map(|id| RegionCounty {
            id: id.to_owned(),
            name: format!("County {id}"),
            neighbors: Vec::new(),
        });
        seasons_of(rows, &counties, &WeekHeat::default())
    }

    fn county(id: &str) -> place::Place {
        place::Place::County(id.to_owned())
    }

    #[test]
    fn a_week_is_the_mean_of_the_middles_of_its_counties() {
        let found = seasons(&[
            row(county("A"), "W29", [0, 0], Some(MedianClass::NOTHING_FOUND)),
            row(county("A"), "W30", [2, 2], Some(HALF)),
            row(county("B"), "W30", [9, 10], Some(HIGHEST)),
        ]);
        let week = |week, share, pressure| WeekFigures {
            week,
            share_at_threshold: share,
            pressure,
        };
        assert_eq!(found.len(), 3);
        assert_eq!(found[0].place, Place::Region);
        // Middles: 0.375 of the class 0.25 to 0.5, 1.5 of the highest; shares 0.2 and 9.5 of 10.
        let region = [week(29, 0.0, 0.0), week(30, (0.2 + 0.95) / 2.0, 0.9375)];
        assert_eq!(found[0].weeks, region);
        assert_eq!((found[0].weeks_shown, found[0].field_weeks), (3, 30));
        let name = Place::County("B".to_owned(), "County B".to_owned());
        assert_eq!(found[2].place, name);
        assert_eq!(found[2].weeks, [week(30, 0.95, 1.5)]);
    }

    #[test]
    fn rows_without_a_class_and_rows_of_pools_take_no_part() {
        let found = seasons(&[
            row(county("A"), "W30", [0, 0], Some(HALF)),
            row(county("B"), "W30", [1, 4], None),
            row(place::Place::Region, "W30", [9, 10], Some(HIGHEST)),
            row(
                place::Place::District("NORTH".to_owned()),
                "W31",
                [9, 10],
                Some(HIGHEST),
            ),
        ]);
        let figures: Vec<_> = found
            .iter()
            .map(|season| (season.weeks_shown, season.field_weeks, season.weeks.len()))
            .collect();
        // The region, county A, and county B, which has a row and no figure.
        assert_eq!(figures, [(1, 10, 1), (1, 10, 1), (0, 0, 0)]);
        assert_eq!(found[0].weeks, found[1].weeks);
        assert_eq!(found[2].course, None);
    }
}
