//! The weather of a package: temperatures by station and day, the heat that they give a protocol's crop, and which
//! station speaks for which county. Weather is public in any case: it says nothing of a visit.

use std::collections::BTreeMap;
use std::sync::Arc;

use arrow::array::{ArrayRef, Date32Array, Float64Array, StringArray};
use jiff::civil::Date;

use crate::figures::described_table::{DescribedTable, described};
use scouting::failure::Failure;
use scouting::phenology::degree_days::{DailyHeat, DayTemperatures};
use scouting::protocol::catalogue::Protocol;
use store::stages::inputs::Setting;

/// The day from which a date of Arrow counts.
const EPOCH: Date = Date::constant(1970, 1, 1);

const STATION: &str = "\
county_id      text  not null  id of the county
station        text  not null  station whose temperatures stand for the county's, as [weather.stations] of the settings says
source_sha256  text  not null  SHA-256 of the file that they were read from";

const DAY: &str = "\
station  text    not null  id of the station, or name of the file where it names none
day      date    not null  day, as the file dates it
tmin_c   double  not null  [Cel] lowest temperature of the air
tmax_c   double  not null  [Cel] highest temperature of the air
filled   boolean not null  whether the day was filled in between its neighbors";

const HEAT: &str = "\
station                    text    not null  id of the station
protocol                   text    not null  protocol whose crop the heat is counted for, by its method and base temperature
day                        date    not null  day
degree_days_c              double  not null  [Cel.d] degree-days of the day
accumulated_degree_days_c  double  null      [Cel.d] degree-days from the first day of counting of the year up to this day, both included; null where a day between is not known";

/// The three tables, in their order.
pub(crate) const TABLES: [&str; 3] = ["weather_station", "weather_day", "heat_day"];

/// Weather of a package; nothing where the workspace has none.
#[derive(Default)]
pub(crate) struct WeatherTables(pub(crate) Vec<(&'static str, DescribedTable)>);

impl WeatherTables {
    /// That of a season, or of all days, for the protocols whose crop has a model of heat.
    ///
    /// # Errors
    /// A [`Failure`] if a table does not fit together.
    pub(crate) fn of(
        setting: &Setting,
        sha256: Option<&str>,
        protocols: &[&Protocol],
        season: Option<i32>,
    ) -> Result<WeatherTables, Failure> {
        let Some(sha256) = sha256.filter(|_| !setting.weather.stations.is_empty()) else {
            return Ok(WeatherTables::default());
        };
        let tables = [
            stations(setting, sha256)?,
            days(setting, season)?,
            heat(setting, protocols, season)?,
        ];
        Ok(WeatherTables(TABLES.into_iter().zip(tables).collect()))
    }
}

/// The names of their columns, for the check of the files.
///
/// # Errors
/// A [`Failure`] if a table is not laid out as its text says.
pub(crate) fn weather_columns() -> Result<Vec<(&'static str, Vec<String>)>, Failure> {
    let texts = TABLES.into_iter().zip([STATION, DAY, HEAT]);
    texts
        .map(|(table, text)| {
            let columns = store::stages::files::columns_of(table, text)?;
            Ok((table, columns.into_iter().map(|one| one.name).collect()))
        })
        .collect()
}

fn stations(setting: &Setting, sha256: &str) -> Result<DescribedTable, Failure> {
    let weather = &setting.weather;
    let of_counties: BTreeMap<&str, &str> = setting
        .counties
        .iter()
        .filter_map(|county| {
            let place = weather.station_of(&county.id)?;
            Some((&*county.id, &*weather.stations.get(place)?.station))
        })
        .collect();
    let rows = of_counties.len();
    described(
        TABLES[0],
        STATION,
        vec![
            texts(of_counties.keys().copied()),
            texts(of_counties.values().copied()),
            texts(std::iter::repeat_n(sha256, rows)),
        ],
    )
}

fn days(setting: &Setting, season: Option<i32>) -> Result<DescribedTable, Failure> {
    let mut rows: Vec<(&str, Date, DayTemperatures, bool)> = Vec::new();
    for series in &setting.weather.stations {
        let within = series.days.iter().filter(|(day, _)| is_of(**day, season));
        rows.extend(within.map(|(day, temperatures)| {
            let filled = series.filled.contains(day);
            (&*series.station, *day, *temperatures, filled)
        }));
    }
    rows.sort_by_key(|(station, day, ..)| (*station, *day));
    let filled = rows.iter().map(|row| Some(row.3));
    described(
        TABLES[1],
        DAY,
        vec![
            texts(rows.iter().map(|row| row.0)),
            dates(rows.iter().map(|row| row.1)),
            doubles(rows.iter().map(|row| Some(row.2.min_c()))),
            doubles(rows.iter().map(|row| Some(row.2.max_c()))),
            Arc::new(filled.collect::<arrow::array::BooleanArray>()),
        ],
    )
}

fn heat(
    setting: &Setting,
    protocols: &[&Protocol],
    season: Option<i32>,
) -> Result<DescribedTable, Failure> {
    let mut rows: Vec<(&str, &str, Date, f64, Option<f64>)> = Vec::new();
    for protocol in protocols {
        let crop = protocol.development.as_ref();
        let Some(crop) = crop.and_then(|development| development.crop.as_ref()) else {
            continue;
        };
        for series in &setting.weather.stations {
            let heat = DailyHeat::of(&series.days, crop.rule);
            let mut sum: Option<f64> = None;
            let mut before: Option<Date> = None;
            for day in series.days.keys() {
                let Some(of_day) = heat.on(*day) else {
                    continue;
                };
                let follows = before.and_then(|before| before.tomorrow().ok()) == Some(*day);
                let (month, first) = setting.weather.heat_from;
                sum = match (day.month(), day.day()) == (month, first) {
                    true => Some(of_day),
                    false => sum.filter(|_| follows).map(|sum| sum + of_day),
                };
                before = Some(*day);
                if is_of(*day, season) {
                    rows.push((&series.station, &protocol.id, *day, of_day, sum));
                }
            }
        }
    }
    rows.sort_by_key(|(station, protocol, day, ..)| (*station, *protocol, *day));
    described(
        TABLES[2],
        HEAT,
        vec![
            texts(rows.iter().map(|row| row.0)),
            texts(rows.iter().map(|row| row.1)),
            dates(rows.iter().map(|row| row.2)),
            doubles(rows.iter().map(|row| Some(row.3))),
            doubles(rows.iter().map(|row| row.4)),
        ],
    )
}

fn is_of(day: Date, season: Option<i32>) -> bool {
    season.is_none_or(|season| i32::from(day.year()) == season)
}

fn texts<'a>(values: impl Iterator<Item = &'a str>) -> ArrayRef {
    Arc::new(StringArray::from_iter_values(values))
}

fn doubles(values: impl Iterator<Item = Option<f64>>) -> ArrayRef {
    Arc::new(values.collect::<Float64Array>())
}

fn dates(values: impl Iterator<Item = Date>) -> ArrayRef {
    let days = values.map(|day| EPOCH.until(day).map_or(0, |span| span.get_days()));
    Arc::new(Date32Array::from_iter_values(days))
}
