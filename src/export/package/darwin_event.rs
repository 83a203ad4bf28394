//! A sampling event: the row of the package that it is, and what its row in the archive says of day, sample and place.

use super::facts::{Facts, Level};
use super::package_file::{one_line, unmade};
use super::table::ExportTable;
use scouting::failure::Failure;
use scouting::protocol::catalogue::Protocol;
use scouting::visit::week::IsoWeek;

/// Terms of the columns of an event.
pub(super) const EVENT: [&str; 18] = [
    "eventID",
    "eventDate",
    "year",
    "samplingProtocol",
    "sampleSizeValue",
    "sampleSizeUnit",
    "samplingEffort",
    "county",
    "locationID",
    "habitat",
    "decimalLatitude",
    "decimalLongitude",
    "geodeticDatum",
    "coordinateUncertaintyInMeters",
    "dataGeneralizations",
    "informationWithheld",
    "datasetName",
    "eventRemarks",
];

/// A row of the package that is an event.
pub(super) struct Event<'a> {
    pub(super) table: &'a ExportTable,
    pub(super) row: usize,
    pub(super) protocol: &'a Protocol,
}

impl Event<'_> {
    pub(super) fn text(&self, column: &str) -> Result<String, Failure> {
        self.table.text(column, self.row)
    }
}

/// Whether a row says that the pest was found, or that it was not.
pub(super) fn is_an_event(level: Level, event: &Event) -> Result<bool, Failure> {
    Ok(level != Level::Public || found_in_row(event)?.is_some())
}

/// Whether anything was found in a field of a public row; `None` where the row does not say: its fields were all at
/// another crop stage, or they are three or four of which none is at threshold, and such a row has no class.
pub(super) fn found_in_row(event: &Event) -> Result<Option<bool>, Failure> {
    let at_threshold = event.text("at_threshold_min")?;
    Ok(match (&*event.text("median_class")?, &*at_threshold) {
        ("nothing-found", _) => Some(false),
        ("", "0") => None,
        // Where nothing was found in any field the class says so.
        _ => Some(true),
    })
}

/// The id is of this package alone where the rows have none of their own.
pub(super) fn id_of(facts: &Facts, event: &Event) -> Result<String, Failure> {
    Ok(match facts.level {
        Level::Full => event.text("visit_id")?,
        Level::Grid => format!("{}:visit:{}", facts.name(), event.text("row")?),
        Level::Public => format!(
            "{}:{}:{}:{}",
            facts.name(),
            event.text("county_id")?,
            event.text("iso_week")?,
            event.text("protocol")?
        ),
    })
}

pub(super) fn event_row(facts: &Facts, event: &Event, id: &str) -> Result<Vec<String>, Failure> {
    let text = |column: &str| event.text(column);
    let protocol = event.protocol;
    let county = text("county_id")?;
    let county_name = facts
        .region
        .county(&county)
        .map_or("", |county| county.name.as_str());
    let (date, size, unit, effort) = sampled(facts, event)?;
    let place = match facts.level {
        Level::Public => Place::of_county(),
        Level::Grid => Place::of_cell(event)?,
        Level::Full => Place::of_field(event)?,
    };
    let withheld = match facts.level {
        Level::Public => {
            "Single fields, farms, scouts, points and days; counties with too few fields."
        }
        Level::Grid => {
            "Field, farm, scout, point, day, area, crop stage, costs, prices and plant populations; row numbers have no meaning."
        }
        Level::Full => "",
    };
    let habitat = match facts.level {
        Level::Full => format!(
            "{} {}, stage {}",
            text("crop_type")?,
            protocol.crop,
            text("crop_stage")?
        ),
        _ => protocol.crop.clone(),
    };
    let location = match facts.level {
        Level::Full => text("field_id")?,
        _ => county,
    };
    let remarks = match facts.level {
        Level::Full if text("in_window")? == "false" => "outside the stage window of the protocol",
        Level::Full if text("after_treatment")? == "true" => "after a treatment of the field",
        _ => "",
    };
    let year = date.get(..4).unwrap_or_default().to_owned();
    Ok(vec![
        id.to_owned(),
        date,
        year,
        one_line(&format!("{}: {}", protocol.title, protocol.sample.plan)),
        size,
        unit.to_owned(),
        effort,
        one_line(county_name),
        location,
        one_line(&habitat),
        place.lat,
        place.lon,
        place.datum,
        place.uncertainty,
        place.generalized,
        withheld.to_owned(),
        facts.title(),
        remarks.to_owned(),
    ])
}

/// When, and how much was looked at: date, size of the sample, its unit, the effort in words.
fn sampled(
    facts: &Facts,
    event: &Event,
) -> Result<(String, String, &'static str, String), Failure> {
    let week = || -> Result<String, Failure> {
        let week = event.text("iso_week")?;
        let week: IsoWeek = week.parse().map_err(|why: String| unmade(why))?;
        let weeks = facts.weeks;
        Ok(format!(
            "{}/{}",
            weeks.first_day(week),
            weeks.last_day(week)
        ))
    };
    Ok(match facts.level {
        Level::Public => {
            let fields = event.text("fields_visited")?;
            let effort = format!("{fields} fields visited within the stage window");
            (week()?, fields, "field", effort)
        }
        Level::Grid => {
            let sites = event.text("sites")?;
            let least = event.protocol.sample.sites_min;
            let effort = format!("{sites} sites; counted up to the {least} of a full sample");
            (week()?, sites, "site", effort)
        }
        Level::Full => {
            let (sites, units) = (event.text("sites")?, event.text("units")?);
            let form = event.text("count_form")?;
            (
                event.text("observed_on")?,
                sites.clone(),
                "site",
                format!("{units} {form} at {sites} sites"),
            )
        }
    })
}

/// Where, in the terms of Darwin Core.
#[derive(Default)]
struct Place {
    lat: String,
    lon: String,
    datum: String,
    uncertainty: String,
    generalized: String,
}

impl Place {
    fn of_county() -> Place {
        Place {
            generalized: "The fields of a county and week combined.".to_owned(),
            ..Place::default()
        }
    }

    fn of_field(event: &Event) -> Result<Place, Failure> {
        let lat = event.text("lat")?;
        if lat.is_empty() {
            return Ok(Place {
                generalized: "Only the county of the field is known.".to_owned(),
                ..Place::default()
            });
        }
        Ok(Place {
            lat,
            lon: event.text("lon")?,
            datum: "EPSG:4326".to_owned(),
            ..Place::default()
        })
    }

    /// No point of a cell is farther from its middle than half its diagonal, 0.71 of its height; the rest is
    /// for cells that are a little wider than high.
    fn of_cell(event: &Event) -> Result<Place, Failure> {
        let lat = event.text("cell_lat")?;
        if lat.is_empty() {
            return Ok(Place {
                generalized: "The county only: too few fields are nearby.".to_owned(),
                ..Place::default()
            });
        }
        let width = event.text("grid_km")?;
        let grid_km: f64 = width.parse().map_err(unmade)?;
        Ok(Place {
            lat,
            lon: event.text("cell_lon")?,
            datum: "EPSG:4326".to_owned(),
            uncertainty: format!("{:.0}", (grid_km * 750.0).ceil()),
            generalized: format!(
                "The point is the middle of a grid cell {grid_km} km high and about as wide; the day is given only as its week; \
                 figures have two significant digits."
            ),
        })
    }
}
