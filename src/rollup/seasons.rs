//! Seasons of counties and of the region, made of the rows of `county_week` that are shown and of nothing
//! else: what is suppressed there cannot come out here. The tables stand in `season_tables.rs`.
//!
//! Shares and means are compared, never counts, and what adds up over weeks by the weeks that it was seen in.
//! In a week of the region each shown county counts once, however many visits it had; which counties are shown
//! may differ from season to season.

use std::collections::BTreeMap;

use super::county_week::CountyWeek;
use super::week_heat::WeekHeat;
use crate::statistics::season_course::{
    HeatCourse, SeasonCourse, WeekFigures, course_by_heat, season_course,
};
use crate::statistics::season_trend::{SeasonTrend, Verdict, season_trend};

/// Whose seasons: a county with its name, or the region. The region sorts first.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
pub enum Place {
    /// All counties that are shown.
    Region,
    /// Id and name.
    County(String, String),
}

/// One season of a place under a protocol.
#[derive(Debug, Clone, PartialEq)]
pub struct Season {
    /// Where.
    pub place: Place,
    /// A protocol's id.
    pub protocol: String,
    /// The ISO week-year.
    pub season: i32,
    /// County-weeks that are shown and have figures: the season rests on these.
    pub weeks_shown: usize,
    /// County-weeks that are withheld.
    pub weeks_suppressed: usize,
    /// Standing visits of the county-weeks shown, one a field and week.
    pub field_weeks: i64,
    /// The weeks with figures, in their order.
    pub weeks: Vec<WeekFigures>,
    /// The heat that had come by each of them, degree-days (°C), as far as it is known.
    pub heat: Vec<Option<f64>>,
    /// The season in figures; `None` where no week is shown.
    pub course: Option<SeasonCourse>,
    /// The same by heat; `None` where no week is shown or no heat is known.
    pub by_heat: Option<HeatCourse>,
}

/// A figure of a season that is compared.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Figure {
    /// Week of the year with the first pressure of 0.5 or more.
    FirstAtHalf,
    /// Week of the year with the highest pressure.
    PeakWeek,
    /// The highest weekly pressure.
    PeakPressure,
    /// Share of the weeks with figures that are at threshold.
    ShareOfWeeks,
    /// Area under the pressure, by the weeks that it covers.
    PressurePerWeek,
    /// Heat that had come by the first week with a pressure of 0.5 or more.
    FirstAtHalfHeat,
    /// Heat that had come by the week of the highest pressure.
    PeakHeat,
    /// Area under the pressure over the heat, by the heat that it covers.
    MeanPressureByHeat,
}

impl Figure {
    /// Those of the calendar.
    const BY_CALENDAR: [Figure; 5] = [
        Figure::FirstAtHalf,
        Figure::PeakWeek,
        Figure::PeakPressure,
        Figure::ShareOfWeeks,
        Figure::PressurePerWeek,
    ];
    /// Those that take temperatures.
    const BY_HEAT: [Figure; 3] = [
        Figure::FirstAtHalfHeat,
        Figure::PeakHeat,
        Figure::MeanPressureByHeat,
    ];

    /// Its name in the tables.
    pub fn name(self) -> &'static str {
        match self {
            Figure::FirstAtHalf => "first_at_half",
            Figure::PeakWeek => "peak_week",
            Figure::PeakPressure => "peak_pressure",
            Figure::ShareOfWeeks => "share_of_weeks_at_threshold",
            Figure::PressurePerWeek => "pressure_per_week",
            Figure::FirstAtHalfHeat => "first_at_half_heat",
            Figure::PeakHeat => "peak_heat",
            Figure::MeanPressureByHeat => "mean_pressure_by_heat",
        }
    }

    fn of(self, season: &Season) -> Option<f64> {
        let (course, heat) = (season.course.as_ref()?, season.by_heat.as_ref());
        match self {
            Figure::FirstAtHalf => course.first_at_half.map(f64::from),
            Figure::PeakWeek => course.peak_week.map(f64::from),
            Figure::PeakPressure => Some(course.peak_pressure),
            Figure::ShareOfWeeks => Some(course.share_of_weeks_at_threshold()),
            Figure::PressurePerWeek => course.pressure_per_week(),
            Figure::FirstAtHalfHeat => heat?.first_at_half,
            Figure::PeakHeat => heat?.peak,
            Figure::MeanPressureByHeat => heat?.mean_pressure(),
        }
    }
}

/// A figure of a place over its seasons.
#[derive(Debug, Clone, PartialEq)]
pub struct FigureTrend {
    /// Where.
    pub place: Place,
    /// A protocol's id.
    pub protocol: String,
    /// What is compared.
    pub figure: Figure,
    /// Seasons that have the figure.
    pub seasons: Vec<i32>,
    /// The trend; `None` for fewer than two seasons.
    pub trend: Option<SeasonTrend>,
}

impl FigureTrend {
    /// What may be said of it, in a word of the tables.
    pub fn word(&self) -> &'static str {
        match self.trend.as_ref().map(|trend| trend.verdict) {
            Some(Verdict::Rises) => "rises",
            Some(Verdict::Falls) => "falls",
            Some(Verdict::NotTold) => "not-told",
            Some(Verdict::TooFewSeasons) | None => "too-few-seasons",
        }
    }
}

/// The seasons of every place and protocol, in their order, with the heat of their weeks as far as it is known.
pub fn seasons_of(rows: &[CountyWeek], heat: &WeekHeat) -> Vec<Season> {
    let mut grouped: BTreeMap<(Place, &str, i32), Vec<&CountyWeek>> = BTreeMap::new();
    for row in rows {
        let county = Place::County(row.county_id.clone(), row.county_name.clone());
        for place in [Place::Region, county] {
            let group = grouped.entry((place, &row.protocol, row.season));
            group.or_default().push(row);
        }
    }
    let seasons = grouped
        .into_iter()
        .map(|((place, protocol, season), rows)| {
            let shown = rows.iter().filter(|row| row.figures().is_some());
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
                weeks_suppressed: rows.iter().filter(|row| row.suppressed).count(),
                field_weeks: shown.filter_map(|row| row.fields_visited).sum(),
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

/// The trends of every figure of every place and protocol, in their order; those by heat where any is known.
pub fn trends_of(seasons: &[Season]) -> Vec<FigureTrend> {
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
            FigureTrend {
                place: group[0].place.clone(),
                protocol: group[0].protocol.clone(),
                figure,
                seasons: values.iter().map(|(season, _)| *season).collect(),
                trend: season_trend(&values),
            }
        })
    });
    trends.collect()
}

/// Mean share and mean pressure of each week over its counties, in the order of weeks and of county ids: the
/// last digits hang on the order of sums.
fn weekly(rows: &[&CountyWeek]) -> Vec<WeekFigures> {
    let mut weeks: BTreeMap<i32, Vec<(&str, f64, f64)>> = BTreeMap::new();
    for row in rows {
        let week = row
            .iso_week
            .split_once("-W")
            .and_then(|(_, week)| week.parse().ok());
        if let (Some(week), Some(figures), Some(mean)) = (week, row.figures(), row.mean_pressure) {
            let counties = weeks.entry(week).or_default();
            counties.push((&row.county_id, figures.share_at_threshold, mean));
        }
    }
    let weeks = weeks.into_iter().map(|(week, mut counties)| {
        counties.sort_by_key(|(county, _, _)| *county);
        let count = counties.len() as f64;
        WeekFigures {
            week,
            share_at_threshold: counties.iter().map(|(_, share, _)| share).sum::<f64>() / count,
            pressure: counties.iter().map(|(_, _, mean)| mean).sum::<f64>() / count,
        }
    });
    weeks.collect()
}
