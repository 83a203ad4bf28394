//! Sampling events, what was found and what was measured, in the terms of Darwin Core
//! (<https://dwc.tdwg.org/terms/>): an event is a visit, or, where nothing of a field may be public, the public row of a
//! county and week.
//!
//! An event at which nothing was found is an absence, not a gap: it has its occurrence, `absent`. A public row is an
//! event only if it says whether anything was found ([`found_in_row`]); what is in no public row is none. Which figures go
//! with an event is decided in `darwin_measures.rs`.

use super::darwin_measures::measures_of;
use super::table::ExportTable;
use super::taxa::{counts_individuals, scientific_name, taxon_remarks};
use super::{Facts, Level, one_line, unmade};
use scouting::failure::Failure;
use scouting::protocol::catalogue::Protocol;
use scouting::visit::week::IsoWeek;

const DWC: &str = "http://rs.tdwg.org/dwc/terms/";

/// A term of Darwin Core, by its name.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Term(pub(super) &'static str);

impl Term {
    /// Its name, for the head of a column.
    pub(super) fn name(&self) -> &'static str {
        self.0
    }

    /// Its address.
    pub(super) fn address(&self) -> String {
        format!("{DWC}{}", self.0)
    }
}

/// A file of the archive.
pub(super) struct DwcTable {
    pub(super) row_type: &'static str,
    pub(super) file: &'static str,
    /// Of its columns; the first is the id of the event.
    pub(super) terms: Vec<Term>,
    pub(super) rows: Vec<Vec<String>>,
}

const EVENT: [&str; 18] = [
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
const OCCURRENCE: [&str; 11] = [
    "eventID",
    "occurrenceID",
    "basisOfRecord",
    "occurrenceStatus",
    "scientificName",
    "taxonRemarks",
    "individualCount",
    "organismQuantity",
    "organismQuantityType",
    "recordedBy",
    "occurrenceRemarks",
];
const MEASURE: [&str; 6] = [
    "eventID",
    "measurementID",
    "measurementType",
    "measurementValue",
    "measurementUnit",
    "measurementMethod",
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

/// Events, occurrences and measurements; the events first.
///
/// # Errors
/// A [`Failure`] if a table of the package lacks a column.
pub(super) fn darwin_core_tables(
    facts: &Facts,
    tables: &[ExportTable],
) -> Result<[DwcTable; 3], Failure> {
    let name = match facts.level {
        Level::Public => "county_week",
        Level::Grid | Level::Full => "visit",
    };
    let found = tables.iter().find(|table| table.name == name);
    let table = found.ok_or_else(|| unmade(format!("there is no table {name}")))?;
    let (mut events, mut occurrences, mut measures) = (Vec::new(), Vec::new(), Vec::new());
    for row in 0..table.rows() {
        let id = table.text("protocol", row)?;
        let protocol = facts.protocols.iter().find(|protocol| protocol.id == id);
        let protocol = protocol.ok_or_else(|| unmade(format!("no protocol {id}")))?;
        let event = Event {
            table,
            row,
            protocol,
        };
        if !is_an_event(facts.level, &event)? {
            continue;
        }
        let id = id_of(facts, &event)?;
        events.push(event_row(facts, &event, &id)?);
        occurrences.push(occurrence_row(facts.level, &event, &id)?);
        for (place, measure) in (1..).zip(measures_of(facts.level, &event)?) {
            let [kind, value, unit, method] = measure;
            measures.push(vec![
                id.clone(),
                format!("{id}:m{place}"),
                kind,
                value,
                unit,
                method,
            ]);
        }
    }
    let made = |row_type, file, terms: &[&'static str], rows| DwcTable {
        row_type,
        file,
        terms: terms.iter().map(|term| Term(term)).collect(),
        rows,
    };
    Ok([
        made(
            "http://rs.tdwg.org/dwc/terms/Event",
            "event.csv",
            &EVENT,
            events,
        ),
        made(
            "http://rs.tdwg.org/dwc/terms/Occurrence",
            "occurrence.csv",
            &OCCURRENCE,
            occurrences,
        ),
        made(
            "http://rs.tdwg.org/dwc/terms/MeasurementOrFact",
            "measurement.csv",
            &MEASURE,
            measures,
        ),
    ])
}

/// Whether a row says that the pest was found, or that it was not.
fn is_an_event(level: Level, event: &Event) -> Result<bool, Failure> {
    Ok(level != Level::Public || found_in_row(event)?.is_some())
}

/// Whether anything was found in a field of a public row; `None` where the row does not say: its fields were all at
/// another crop stage, or they are three or four of which none is at threshold, and such a row has no class.
fn found_in_row(event: &Event) -> Result<Option<bool>, Failure> {
    let at_threshold = event.text("at_threshold_min")?;
    Ok(match (&*event.text("median_class")?, &*at_threshold) {
        ("nothing-found", _) => Some(false),
        ("", "0") => None,
        // Where nothing was found in any field the class says so.
        _ => Some(true),
    })
}

/// The id is of this package alone where the rows have none of their own.
fn id_of(facts: &Facts, event: &Event) -> Result<String, Failure> {
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

fn event_row(facts: &Facts, event: &Event, id: &str) -> Result<Vec<String>, Failure> {
    let text = |column: &str| event.text(column);
    let protocol = event.protocol;
    let county = text("county_id")?;
    let county_name = facts
        .region
        .county(&county)
        .map_or("", |county| county.name.as_str());
    let (date, size, unit, effort) = sampled(facts.level, event)?;
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
            "Field, farm, scout, point, day, area, crop stage, costs, prices and stands; numbers of rows mean nothing."
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
        place.generalised,
        withheld.to_owned(),
        facts.title(),
        remarks.to_owned(),
    ])
}

/// When, and how much was looked at: date, size of the sample, its unit, the effort in words.
fn sampled(level: Level, event: &Event) -> Result<(String, String, &'static str, String), Failure> {
    let week = || -> Result<String, Failure> {
        let week = event.text("iso_week")?;
        let week: IsoWeek = week.parse().map_err(|why: String| unmade(why))?;
        Ok(format!("{}/{}", week.monday(), week.sunday()))
    };
    Ok(match level {
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
    generalised: String,
}

impl Place {
    fn of_county() -> Place {
        Place {
            generalised: "The fields of a county and week taken together.".to_owned(),
            ..Place::default()
        }
    }

    fn of_field(event: &Event) -> Result<Place, Failure> {
        Ok(Place {
            lat: event.text("lat")?,
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
                generalised: "The county alone: too few fields lie around.".to_owned(),
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
            generalised: format!(
                "The point is the middle of a grid cell {grid_km} km high and about as wide; the day is told by its week; \
                 figures have two significant digits."
            ),
        })
    }
}

fn occurrence_row(level: Level, event: &Event, id: &str) -> Result<Vec<String>, Failure> {
    let protocol = event.protocol;
    let (is_present, quantity) = match level {
        Level::Public => (found_in_row(event)? == Some(true), String::new()),
        Level::Grid | Level::Full => {
            let mean = event.text("field_mean")?;
            (mean.parse::<f64>().is_ok_and(|mean| mean > 0.0), mean)
        }
    };
    let quantity_type = match level {
        Level::Public => String::new(),
        Level::Grid | Level::Full => format!("mean number of {}", one_line(&protocol.counted)),
    };
    let count = match level {
        Level::Full if counts_individuals(protocol) => event.text("total")?,
        _ => String::new(),
    };
    let by = match level {
        Level::Full => event.text("observer_id")?,
        _ => String::new(),
    };
    let remarks = match (level, is_present) {
        (Level::Public, true) => "found in at least one of the fields visited",
        (Level::Public, false) => "found in none of the fields visited",
        _ => "",
    };
    Ok(vec![
        id.to_owned(),
        format!("{id}:pest"),
        "HumanObservation".to_owned(),
        if is_present { "present" } else { "absent" }.to_owned(),
        scientific_name(protocol),
        taxon_remarks(protocol),
        count,
        quantity,
        quantity_type,
        by,
        remarks.to_owned(),
    ])
}
