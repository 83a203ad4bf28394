//! The tables `season_week` and `county_season_heat`, with what their columns mean. Lays them out; their
//! figures are computed in `season_weeks.rs` and `seasons.rs`.

use super::season::Season;
use super::season_tables::{counts, county_id, county_name, floats, texts, years};
use super::season_weeks::SeasonWeek;
use crate::figures::described_table::{DescribedTable, described};
use scouting::failure::Failure;
use stats::trend::season_course::HeatCourse;
use stats::trend::season_place::SeasonPlace;

/// In the form of a stage's header.
const SEASON_WEEK: &str = "\
county_id           text    null      id of the county; null for the region
county_name         text    not null  name of the county; region for all counties that have a row, each of which counts once a week
protocol            text    not null  id of the protocol
season              int     not null  ISO week-year
iso_week            text    not null  ISO 8601 week, as 2026-W30
share_at_threshold  double  not null  [1] middle of at_threshold_min and at_threshold_max, divided by fields_visited; of the region the mean of its counties'
pressure            double  not null  [1] middle of the class of the median, of the highest class its lower bound; of the region the mean of its counties'; 1 = at threshold
heat                double  null      [Cel.d] degree-days of the protocol's crop accumulated by the middle day of the week, or by the last day of temperatures if they end earlier in the week, from the day of the settings on; null without temperatures of every day before
earlier_seasons     bigint  not null  earlier seasons with a pressure for the same week of the year
earlier_below       bigint  not null  of them, those whose pressure was lower
earlier_level       bigint  not null  those whose pressure was the same
rank                bigint  null      rank of the pressure among them and this season, 1 for the highest, equal ones sharing it; of n seasons that differ by chance alone each is the highest in one of n cases; null for fewer than four earlier seasons
earlier_at_heat     bigint  null      earlier seasons whose pressure is known at the same degree-days, along straight lines between weeks that are joined; null where heat is
earlier_below_at_heat  bigint  null   of them, those whose pressure was lower
earlier_level_at_heat  bigint  null   those whose pressure was the same
rank_at_heat        bigint  null      rank of the pressure among them and this season, as rank";

const COUNTY_SEASON_HEAT: &str = "\
county_id               text    null      id of the county; null for the region
county_name             text    not null  name of the county; region for all counties that have a row, each of which counts once a week
protocol                text    not null  id of the protocol
season                  int     not null  ISO week-year
first_at_threshold_heat  double  null     [Cel.d] degree-days accumulated by the week of the first share at threshold above 0
first_at_half_heat      double  null      [Cel.d] degree-days accumulated by the week of the first pressure of 0.5 or more
peak_heat               double  null      [Cel.d] degree-days accumulated by the week of the highest pressure
weeks_with_heat         bigint  null      weeks with a pressure whose degree-days are known
pressure_heat           double  null      [Cel.d] area under the pressure over the degree-days, between weeks that are joined
heat_covered            double  null      [Cel.d] degree-days that this area covers
mean_pressure_by_heat   double  null      [1] the area divided by these degree-days";

/// `season_week`: one row per place, protocol, season and week with figures.
pub(crate) fn season_week_table(rows: &[SeasonWeek]) -> Result<DescribedTable, Failure> {
    let places = || rows.iter().map(|row| &row.place);
    let weeks: Vec<String> = rows.iter().map(SeasonWeek::iso_week).collect();
    let at_week = |of: fn(&SeasonPlace) -> usize| {
        counts(rows.iter().map(move |row| Some(of(&row.at_week) as i64)))
    };
    let at_heat = |of: fn(&SeasonPlace) -> usize| {
        let at = rows.iter().map(|row| row.at_heat.as_ref());
        counts(at.map(move |at| Some(of(at?) as i64)))
    };
    described(
        "season_week",
        SEASON_WEEK,
        vec![
            texts(places().map(county_id)),
            texts(places().map(|place| Some(county_name(place)))),
            texts(rows.iter().map(|row| Some(&*row.protocol))),
            years(rows.iter().map(|row| Some(row.season))),
            texts(weeks.iter().map(|week| Some(&**week))),
            floats(rows.iter().map(|row| Some(row.figures.share_at_threshold))),
            floats(rows.iter().map(|row| Some(row.figures.pressure))),
            floats(rows.iter().map(|row| row.heat)),
            at_week(|place| place.earlier),
            at_week(|place| place.below),
            at_week(|place| place.level),
            counts(
                rows.iter()
                    .map(|row| row.at_week.rank().map(|rank| rank as i64)),
            ),
            at_heat(|place| place.earlier),
            at_heat(|place| place.below),
            at_heat(|place| place.level),
            counts(
                rows.iter()
                    .map(|row| row.at_heat?.rank().map(|rank| rank as i64)),
            ),
        ],
    )
}

/// `county_season_heat`: one row per place, protocol and season; all null without temperatures.
pub(crate) fn county_season_heat_table(rows: &[Season]) -> Result<DescribedTable, Failure> {
    let heat = |of: fn(&HeatCourse) -> Option<f64>| {
        floats(rows.iter().map(move |row| of(row.by_heat.as_ref()?)))
    };
    let places = || rows.iter().map(|row| &row.place);
    let weeks = rows.iter().map(|row| Some(i64::from(row.by_heat?.weeks)));
    described(
        "county_season_heat",
        COUNTY_SEASON_HEAT,
        vec![
            texts(places().map(county_id)),
            texts(places().map(|place| Some(county_name(place)))),
            texts(rows.iter().map(|row| Some(&*row.protocol))),
            years(rows.iter().map(|row| Some(row.season))),
            heat(|course| course.first_at_threshold),
            heat(|course| course.first_at_half),
            heat(|course| course.peak),
            counts(weeks),
            heat(|course| course.area),
            heat(|course| course.area.map(|_| course.covered)),
            heat(HeatCourse::mean_pressure),
        ],
    )
}
