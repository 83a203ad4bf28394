//! The tables `county_season` and `trend`, with what their columns mean. Lays them out; their figures are computed in
//! `seasons.rs`.

use std::sync::Arc;

use arrow::array::{ArrayRef, Float64Array, Int32Array, Int64Array, StringArray};

use super::season::{FigureTrend, Season};
use crate::figures::described_table::{DescribedTable, described};
use crate::figures::place::Place;
use scouting::failure::Failure;
use stats::trend::season_course::SeasonCourse;
use stats::trend::season_trend::SeasonTrend;

/// In the form of a stage's header.
const COUNTY_SEASON: &str = "\
county_id           text    null      id of the county; null for the region
county_name         text    not null  name of the county; region for all counties that have a row, each of which counts once a week
protocol            text    not null  id of the protocol
season              int     not null  ISO week-year
county_weeks_shown  bigint  not null  rows of county_week with a class of the median; the season is based on these alone
field_weeks         bigint  not null  [{visit}] fields visited in these county-weeks, one a field and week
first_at_threshold  int     null      ISO week of the first share at threshold above 0; a county's share is the middle of at_threshold_min and at_threshold_max, divided by fields_visited, the region's the mean of its counties'
first_at_half       int     null      ISO week of the first pressure of 0.5 or more; a county's pressure in a week is the middle of the class of its median (of the highest class its lower bound), the region's the mean of its counties'
peak_week           int     null      ISO week of the highest pressure
peak_pressure       double  null      [1] highest weekly pressure; 1 = at threshold; fewer fields give a higher one, so no trend is tested
weeks_with_figures  bigint  null      weeks with a pressure; what the pressure was in the others is not known
weeks_at_threshold  bigint  null      of them, weeks whose pressure is 1 or more
share_of_weeks_at_threshold  double  null  [1] their share of the weeks with a pressure; a season seen in its middle alone has a higher one, so no trend is tested
share_of_fields_at_threshold  double  null  [1] fields at threshold, the middle of the least and the most, divided by field_weeks
pressure_weeks      double  null      area under the pressure, in pressure times weeks; weeks are joined over one missing week at most; null if none are joined
weeks_covered       int     null      weeks of time that the area covers
pressure_per_week   double  null      [1] the area divided by these weeks";

const TREND: &str = "\
county_id        text    null      id of the county; null for the region
county_name      text    not null  name of the county, or region
protocol         text    not null  id of the protocol
figure           text    not null  the column of county_season or county_season_heat that is compared
seasons          bigint  not null  seasons that have the figure
first_season     int     null      first of them
last_season      int     null      last of them
verdict          text    not null  rises, falls, not-significant, too-few-seasons (fewer than five: no trend can be tested, whatever the next columns say) or not-reached (a week that some season never got to; the others do not represent it, so no trend is tested)
s                bigint  null      Mann and Kendall's S: pairs of seasons that rise less pairs that fall
s_needed         bigint  null      size of s that a verdict takes: what chance reaches in at most 5 of 100 series (of five seasons, in 7) where each season takes over 0.7 of the one before; null for fewer than five
z                double  null      [1] S with continuity correction in its standard deviations, ties taken into account
p_value          double  null      [1] two-sided, if seasons did not resemble each other; exact for ten seasons or fewer, else by the normal distribution; the verdict asks for more
p_corrected      double  null      [1] two-sided, corrected for serial correlation (Hamed and Rao), which fewer than some thirty seasons hardly show; for comparison, no verdict uses it; null where the correction has no answer
tau_b            double  null      [1] Kendall's tau-b
slope            double  null      change of the figure a year (Theil and Sen)
slope_low        double  null      lower limit of the slopes that s_needed would not reject: an interval that holds the slope in 95 of 100 series or more (of five seasons, in 93) even where each season takes over 0.7 of the one before; null for fewer than five
slope_high       double  null      upper limit
slope_detectable  double  null     change a year that would be called a trend in 4 of 5 series of so many seasons that scatter about a line as these do, without memory; null for fewer than five, or without scatter";

/// `county_season`: one row per place, protocol and season.
pub(crate) fn county_season_table(rows: &[Season]) -> Result<DescribedTable, Failure> {
    let course = |of: fn(&SeasonCourse) -> Option<f64>| {
        floats(rows.iter().map(move |row| of(row.course.as_ref()?)))
    };
    let week = |of: fn(&SeasonCourse) -> Option<i32>| {
        years(rows.iter().map(move |row| of(row.course.as_ref()?)))
    };
    let weeks = |of: fn(&SeasonCourse) -> u32| {
        counts(
            rows.iter()
                .map(move |row| Some(i64::from(of(row.course.as_ref()?)))),
        )
    };
    let places = || rows.iter().map(|row| &row.place);
    described(
        "county_season",
        COUNTY_SEASON,
        vec![
            texts(places().map(county_id)),
            texts(places().map(|place| Some(county_name(place)))),
            texts(rows.iter().map(|row| Some(&*row.protocol))),
            years(rows.iter().map(|row| Some(row.season))),
            counts(rows.iter().map(|row| Some(row.weeks_shown as i64))),
            counts(rows.iter().map(|row| Some(row.field_weeks))),
            week(|course| course.first_at_threshold),
            week(|course| course.first_at_half),
            week(|course| course.peak_week),
            course(|course| Some(course.peak_pressure)),
            weeks(|course| course.weeks),
            weeks(|course| course.weeks_at_threshold),
            course(|course| Some(course.share_of_weeks_at_threshold())),
            floats(rows.iter().map(Season::share_of_fields_at_threshold)),
            course(|course| course.pressure_weeks),
            week(|course| Some(course.weeks_covered)),
            course(SeasonCourse::pressure_per_week),
        ],
    )
}

/// `trend`: one row per place, protocol and figure.
pub(crate) fn trend_table(rows: &[FigureTrend]) -> Result<DescribedTable, Failure> {
    let number = |of: fn(&SeasonTrend) -> Option<f64>| {
        floats(rows.iter().map(move |row| of(row.trend.as_ref()?)))
    };
    let places = || rows.iter().map(|row| &row.place);
    described(
        "trend",
        TREND,
        vec![
            texts(places().map(county_id)),
            texts(places().map(|place| Some(county_name(place)))),
            texts(rows.iter().map(|row| Some(&*row.protocol))),
            texts(rows.iter().map(|row| Some(row.figure.name()))),
            counts(rows.iter().map(|row| Some(row.seasons.len() as i64))),
            years(rows.iter().map(|row| row.seasons.first().copied())),
            years(rows.iter().map(|row| row.seasons.last().copied())),
            texts(rows.iter().map(|row| Some(row.word()))),
            counts(rows.iter().map(|row| Some(row.trend.as_ref()?.test.s))),
            counts(rows.iter().map(|row| row.trend.as_ref()?.score_needed)),
            number(|trend| Some(trend.test.z)),
            number(|trend| Some(trend.test.best_p_value())),
            number(|trend| Some(trend.corrected?.p_value)),
            number(|trend| trend.test.tau_b),
            number(|trend| Some(trend.line.slope)),
            number(|trend| Some(trend.interval?.low)),
            number(|trend| Some(trend.interval?.high)),
            number(|trend| trend.detectable),
        ],
    )
}

pub(super) fn county_id(place: &Place) -> Option<&str> {
    match place {
        Place::Region => None,
        Place::County(id, _) => Some(id),
    }
}

pub(super) fn county_name(place: &Place) -> &str {
    match place {
        Place::Region => "region",
        Place::County(_, name) => name,
    }
}

pub(super) fn texts<'a>(values: impl Iterator<Item = Option<&'a str>>) -> ArrayRef {
    Arc::new(values.collect::<StringArray>())
}

pub(super) fn years(values: impl Iterator<Item = Option<i32>>) -> ArrayRef {
    Arc::new(values.collect::<Int32Array>())
}

pub(super) fn counts(values: impl Iterator<Item = Option<i64>>) -> ArrayRef {
    Arc::new(values.collect::<Int64Array>())
}

pub(super) fn floats(values: impl Iterator<Item = Option<f64>>) -> ArrayRef {
    Arc::new(values.collect::<Float64Array>())
}
