//! When each reference visit's field is expected at its treatment stage, and when the eggs that it found hatch.
//!
//! Only visits within their protocol's stage window have days. Where the weather of the field's county is
//! known up to the visit, the days are based on it, else on the day ranges of the protocol's file. Weather after
//! the visit's week is left aside, so that the figures of a week stay what they were. How a window is
//! computed is described in `scouting::phenology::spray_window`.

use std::collections::HashMap;
use std::sync::Arc;

use arrow::array::{ArrayRef, Date32Array, RecordBatch, StringArray};
use jiff::civil::Date;
use serde::Deserialize;

use crate::rows::decode;
use crate::stages::stage_rows::rows_of;
use scouting::failure::Failure;
use scouting::phenology::spray_window::{
    Basis, Observed, SprayWindow, StationHeat, window_by_days, window_by_weather,
};
use scouting::phenology::weather::WeatherSeries;
use scouting::protocol::catalogue::{Catalogue, Protocol};
use scouting::visit::week::Weeks;

const EPOCH: Date = Date::constant(1970, 1, 1);

/// The temperatures that windows are based on.
#[derive(Debug, Clone)]
pub struct Weather {
    /// The stations.
    pub stations: Vec<WeatherSeries>,
    /// The station of each county by id, as its place among the stations.
    pub station_of_county: HashMap<String, usize>,
    /// The station of every other county; none if these have no weather.
    pub station_elsewhere: Option<usize>,
    /// Month and day from which the heat of a season is summed.
    pub heat_from: (i8, i8),
}

impl Default for Weather {
    fn default() -> Self {
        Weather {
            stations: Vec::new(),
            station_of_county: HashMap::new(),
            station_elsewhere: None,
            heat_from: (1, 1),
        }
    }
}

impl Weather {
    /// The place of a county's station in the list of stations.
    pub fn station_of(&self, county_id: &str) -> Option<usize> {
        let named = self.station_of_county.get(county_id).copied();
        named.or(self.station_elsewhere)
    }
}

/// What a window is computed from.
#[derive(Deserialize)]
struct Observation<'a> {
    protocol: &'a str,
    county_id: &'a str,
    crop_stage: &'a str,
    in_window: bool,
    after_treatment: bool,
    #[serde(deserialize_with = "decode::day")]
    observed_on: Date,
    field_mean: f64,
}

/// Days from January 1, 1970 to a day.
pub(crate) fn days_since_epoch(day: Date) -> i32 {
    (day - EPOCH).get_days()
}

/// The day that many days after January 1, 1970.
pub(crate) fn day_since_epoch(days: i32) -> Date {
    EPOCH.saturating_add(jiff::Span::new().days(days))
}

/// The heat of the stations as it was known at the end of a week, each computed once.
pub(crate) struct KnownHeat<'a> {
    weather: &'a Weather,
    weeks: &'a Weeks,
    known: HashMap<(&'a str, usize, Date), Option<StationHeat>>,
}

impl<'a> KnownHeat<'a> {
    pub(crate) fn of(weather: &'a Weather, weeks: &'a Weeks) -> KnownHeat<'a> {
        KnownHeat {
            weather,
            weeks,
            known: HashMap::new(),
        }
    }

    /// Of each row of `standing_visit`: `hatch_from`, `hatch_to`, `window_opens`, `window_closes`,
    /// `window_basis` (`weather` or `days`); null where the visit has no window.
    ///
    /// # Errors
    /// A [`Failure`] that names the column, if one is not what the stage promises.
    pub(crate) fn columns(
        &mut self,
        standing_visit: &RecordBatch,
        catalogue: &'a Catalogue,
    ) -> Result<[(&'static str, ArrayRef); 5], Failure> {
        let rows: Vec<Observation<'_>> = rows_of(standing_visit, "standing_visit")?;
        let windows: Vec<Option<SprayWindow>> = rows
            .iter()
            .map(|row| {
                let protocol = catalogue.protocol(row.protocol)?;
                let observed = Observed {
                    stage: protocol.scale.read(row.crop_stage)?,
                    on: row.observed_on,
                    found: row.field_mean > 0.0,
                };
                let within = row.in_window && !row.after_treatment;
                within.then(|| self.window_of(protocol, observed, row.county_id))?
            })
            .collect();
        let day = |of: fn(&SprayWindow) -> Option<Date>| -> ArrayRef {
            let days = windows.iter();
            let days = days.map(|window| of(window.as_ref()?).map(days_since_epoch));
            Arc::new(days.collect::<Date32Array>())
        };
        let bases = windows.iter().map(|window| {
            Some(match window.as_ref()?.basis {
                Basis::Weather { .. } => "weather",
                Basis::Days => "days",
            })
        });
        Ok([
            ("hatch_from", day(|window| window.hatch_from)),
            ("hatch_to", day(|window| window.hatch_to)),
            ("window_opens", day(|window| Some(window.opens))),
            ("window_closes", day(|window| Some(window.closes))),
            ("window_basis", Arc::new(bases.collect::<StringArray>())),
        ])
    }

    /// By weather where it leads to the treatment stage, else by days; `None` where neither does.
    fn window_of(
        &mut self,
        protocol: &'a Protocol,
        observed: Observed,
        county_id: &str,
    ) -> Option<SprayWindow> {
        let development = protocol.development.as_ref()?;
        let treat_at = protocol.scale.read(protocol.timing.treat_at.as_ref()?)?;
        let by_weather = self
            .heat_of(protocol, county_id, observed.on)
            .and_then(|heat| window_by_weather(development, treat_at, observed, heat).ok());
        by_weather.or_else(|| window_by_days(development, treat_at, observed).ok())
    }

    fn heat_of(
        &mut self,
        protocol: &'a Protocol,
        county_id: &str,
        day: Date,
    ) -> Option<&StationHeat> {
        let station = self.weather.station_of(county_id)?;
        let week_end = self.weeks.last_day(self.weeks.of(day));
        let key = (protocol.id.as_str(), station, week_end);
        let weather = self.weather;
        let entry = self.known.entry(key).or_insert_with(|| {
            let heat = StationHeat::of(&weather.stations[station], protocol.development.as_ref()?)?;
            Some(heat.through(week_end))
        });
        entry.as_ref()
    }
}
