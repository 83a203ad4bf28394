//! The table `field_window`: when each standing visit's field is expected at its treatment stage, and when eggs
//! of that day hatch.
//!
//! Only visits within their protocol's stage window have a row. Where the weather of the field's county is
//! known up to the visit, the days rest on it, else on the day ranges of the protocol's file. Weather after
//! the visit's week is left aside, so that the figures of a week stay what they were. How a window is
//! computed stands in `crate::heat::spray_window`.

use std::collections::HashMap;
use std::sync::Arc;

use arrow::array::{Array, AsArray, Date32Array, RecordBatch, StringArray};
use arrow::datatypes::Date32Type;
use jiff::ToSpan;
use jiff::civil::Date;

use crate::failure::Failure;
use crate::heat::spray_window::{
    Basis, Observed, SprayWindow, StationHeat, window_by_days, window_by_weather,
};
use crate::heat::weather::WeatherSeries;
use crate::protocol::catalogue::{Catalogue, Protocol};
use crate::visit::week::IsoWeek;

use super::inputs::table_of;

const EPOCH: Date = Date::constant(1970, 1, 1);

/// The temperatures that windows rest on.
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
    pub(super) fn station_of(&self, county_id: &str) -> Option<usize> {
        let named = self.station_of_county.get(county_id).copied();
        named.or(self.station_elsewhere)
    }
}

/// One row a standing visit that has a window: `visit_id`, `hatch_from`, `hatch_to`, `window_opens`,
/// `window_closes`, `window_basis` (`weather` or `days`).
pub(super) fn field_window(
    standing_visit: &RecordBatch,
    catalogue: &Catalogue,
    weather: &Weather,
) -> Result<RecordBatch, Failure> {
    let text = |name: &str| standing_visit[name].as_string::<i32>();
    let (visits, protocols, counties) = (text("visit_id"), text("protocol"), text("county_id"));
    let stages = text("crop_stage");
    let in_window = standing_visit["in_window"].as_boolean();
    let days = standing_visit["observed_on"].as_primitive::<Date32Type>();
    let mut heat = KnownHeat {
        weather,
        known: HashMap::new(),
    };
    let mut ids = Vec::new();
    let mut windows = Vec::new();
    for row in (0..standing_visit.num_rows()).filter(|row| in_window.value(*row)) {
        let protocol = catalogue.protocol(protocols.value(row));
        let observed =
            protocol.and_then(|known| observed(known, stages.value(row), days.value(row)));
        let (Some(protocol), Some(observed)) = (protocol, observed) else {
            continue;
        };
        if let Some(window) = window_of(protocol, observed, counties.value(row), &mut heat) {
            ids.push(visits.value(row));
            windows.push(window);
        }
    }
    let day = |of: fn(&SprayWindow) -> Option<Date>| -> Arc<dyn Array> {
        let days = windows
            .iter()
            .map(|window| of(window).map(days_since_epoch));
        Arc::new(days.collect::<Date32Array>())
    };
    let bases = windows.iter().map(|window| match window.basis {
        Basis::Weather { .. } => "weather",
        Basis::Days => "days",
    });
    table_of(vec![
        ("visit_id", Arc::new(StringArray::from(ids))),
        ("hatch_from", day(|window| window.hatch_from)),
        ("hatch_to", day(|window| window.hatch_to)),
        ("window_opens", day(|window| Some(window.opens))),
        ("window_closes", day(|window| Some(window.closes))),
        (
            "window_basis",
            Arc::new(bases.map(Some).collect::<StringArray>()),
        ),
    ])
}

fn observed(protocol: &Protocol, stage: &str, days_since_epoch: i32) -> Option<Observed> {
    Some(Observed {
        stage: protocol.scale.read(stage)?,
        on: EPOCH.checked_add(days_since_epoch.days()).ok()?,
    })
}

fn days_since_epoch(day: Date) -> i32 {
    (day - EPOCH).get_days()
}

/// By weather where it leads to the treatment stage, else by days; `None` where neither does.
fn window_of<'a>(
    protocol: &'a Protocol,
    observed: Observed,
    county_id: &str,
    heat: &mut KnownHeat<'a>,
) -> Option<SprayWindow> {
    let development = protocol.development.as_ref()?;
    let treat_at = protocol.scale.read(protocol.timing.treat_at.as_ref()?)?;
    let by_weather = heat
        .of(protocol, county_id, observed.on)
        .and_then(|heat| window_by_weather(development, treat_at, observed, heat).ok());
    by_weather.or_else(|| window_by_days(development, treat_at, observed).ok())
}

/// The heat of the stations as it was known at the end of a week, each computed once.
struct KnownHeat<'a> {
    weather: &'a Weather,
    known: HashMap<(&'a str, usize, Date), Option<StationHeat>>,
}

impl<'a> KnownHeat<'a> {
    fn of(&mut self, protocol: &'a Protocol, county_id: &str, day: Date) -> Option<&StationHeat> {
        let station = self.weather.station_of(county_id)?;
        let sunday = IsoWeek::of(day).sunday();
        let key = (protocol.id.as_str(), station, sunday);
        let weather = self.weather;
        let entry = self.known.entry(key).or_insert_with(|| {
            let heat = StationHeat::of(&weather.stations[station], protocol.development.as_ref()?)?;
            Some(heat.through(sunday))
        });
        entry.as_ref()
    }
}
