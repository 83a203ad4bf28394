//! What a roll-up needs of a workspace in addition to its store: counties, smallest groups, weather.

use std::collections::HashMap;
use std::path::Path;

use crate::workspace::open::weeks_of;
use crate::workspace::{SETTINGS_FILE, Workspace};
use disclosure::editions::Published;
use scouting::failure::{Failure, Kind};
use scouting::phenology::weather::{WeatherSeries, read_weather};
use scouting::region::Region;
use store::stages::computed::windows::Weather;
use store::stages::inputs::{RegionCounty, Setting};

/// The county id that represents every county without a line of its own.
const EVERY_OTHER: &str = "*";

/// What is needed, given the rows that are public already.
///
/// # Errors
/// A [`Failure`] if the weather file cannot be read, or a county or station of `[weather.stations]` is not known.
pub(crate) fn roll_up_setting(
    workspace: &Workspace,
    region: &Region,
    weather: Option<&Path>,
    published: &[Published],
) -> Result<Setting, Failure> {
    let disclosure = &workspace.settings().disclosure;
    let neighbors = region.neighbors();
    let counties = region.counties().iter().zip(neighbors);
    Ok(Setting {
        rule: disclosure.rule(),
        districts: region.districts().clone(),
        weeks: weeks_of(workspace, published),
        point_grid: workspace.grid_width()?,
        counties: counties
            .map(|(county, neighbors)| RegionCounty {
                id: county.id.clone(),
                name: county.name.clone(),
                neighbors,
            })
            .collect(),
        weather: match weather {
            Some(file) => Weather {
                heat_from: workspace.heat_from()?,
                ..read_station_weather(workspace, region, file)?
            },
            None => Weather::default(),
        },
        certainty: workspace.settings().calls.certainty,
    })
}

fn read_station_weather(
    workspace: &Workspace,
    region: &Region,
    file: &Path,
) -> Result<Weather, Failure> {
    let weather = &workspace.settings().weather;
    let named = &weather.stations;
    let wanted: Vec<String> = named.values().cloned().collect();
    let stations = read_weather(file, &wanted, weather.temperature_unit)?;
    let place_of = |id: &str| stations.iter().position(|series| series.station == id);
    if named.is_empty() {
        return match stations.len() {
            1 => Ok(Weather {
                stations,
                station_elsewhere: Some(0),
                ..Weather::default()
            }),
            _ => Err(several_stations(file, &stations)),
        };
    }
    let mut station_of_county = HashMap::new();
    for (county, station) in named.iter().filter(|(county, _)| *county != EVERY_OTHER) {
        if region.county(county).is_none() {
            return Err(Failure::new(
                Kind::Settings,
                format!(
                    "[weather.stations] names the county {county:?}, which is not in the region"
                ),
            )
            .at(SETTINGS_FILE)
            .mend("write the county ids of the boundaries, and \"*\" for every other county"));
        }
        station_of_county.extend(place_of(station).map(|place| (county.clone(), place)));
    }
    let station_elsewhere = named.get(EVERY_OTHER).and_then(|station| place_of(station));
    Ok(Weather {
        stations,
        station_of_county,
        station_elsewhere,
        ..Weather::default()
    })
}

fn several_stations(file: &Path, stations: &[WeatherSeries]) -> Failure {
    let ids: Vec<&str> = stations.iter().map(|series| &*series.station).collect();
    Failure::new(
        Kind::Settings,
        format!("the weather file has {} stations", stations.len()),
    )
    .at(format!("{}: {}", file.display(), ids.join(", ")))
    .mend("say in [weather.stations] which county takes which; \"*\" means every other county")
}
