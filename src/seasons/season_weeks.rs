//! The rank of each week of a season among the earlier seasons of its place: at the same week of the year, and at the
//! same degree-days. It is based on public rows and on nothing else, as the seasons do.

use super::season::Season;
use crate::figures::place::Place;
use stats::trend::season_course::WeekFigures;
use stats::trend::season_place::{SeasonPlace, WeekAtHeat, value_at_heat};

/// A week of a season compared with the seasons before it, by its pressure.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct SeasonWeek {
    /// Where.
    pub place: Place,
    /// A protocol's id.
    pub protocol: String,
    /// The ISO week-year.
    pub season: i32,
    /// The week's figures.
    pub figures: WeekFigures,
    /// Degree-days (°C) accumulated by it, where they are known.
    pub heat: Option<f64>,
    /// Among earlier seasons at the same week of the year.
    pub at_week: SeasonPlace,
    /// Among earlier seasons at the same degree-days; `None` where the week's own are not known.
    pub at_heat: Option<SeasonPlace>,
}

impl SeasonWeek {
    /// ISO 8601 week, as `2026-W30`.
    pub(crate) fn iso_week(&self) -> String {
        format!("{}-W{:02}", self.season, self.figures.week)
    }
}

/// Every week with figures of every season, in their order.
pub(crate) fn season_weeks(seasons: &[Season]) -> Vec<SeasonWeek> {
    let same =
        |one: &Season, other: &Season| one.place == other.place && one.protocol == other.protocol;
    let mut weeks = Vec::new();
    for group in seasons.chunk_by(same) {
        for (place, season) in group.iter().enumerate() {
            let earlier = &group[..place];
            let with_heat = season.weeks.iter().zip(&season.heat);
            weeks.extend(with_heat.map(|(figures, heat)| SeasonWeek {
                place: season.place.clone(),
                protocol: season.protocol.clone(),
                season: season.season,
                figures: *figures,
                heat: *heat,
                at_week: at_week(figures, earlier),
                at_heat: heat.map(|heat| at_heat(figures.pressure, heat, earlier)),
            }));
        }
    }
    weeks
}

fn at_week(figures: &WeekFigures, earlier: &[Season]) -> SeasonPlace {
    let values = earlier.iter().filter_map(|season| {
        let mut weeks = season.weeks.iter();
        let week = weeks.find(|week| week.week == figures.week)?;
        Some(week.pressure)
    });
    SeasonPlace::among(figures.pressure, &values.collect::<Vec<_>>())
}

fn at_heat(pressure: f64, heat: f64, earlier: &[Season]) -> SeasonPlace {
    let values = earlier.iter().filter_map(|season| {
        let weeks = season.weeks.iter().zip(&season.heat);
        let known: Vec<WeekAtHeat> = weeks
            .filter_map(|(week, heat)| {
                Some(WeekAtHeat {
                    week: week.week,
                    heat: (*heat)?,
                    value: week.pressure,
                })
            })
            .collect();
        value_at_heat(&known, heat)
    });
    SeasonPlace::among(pressure, &values.collect::<Vec<_>>())
}
