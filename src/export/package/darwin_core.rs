//! Sampling events, what was found and what was measured, in the terms of Darwin Core
//! (<https://dwc.tdwg.org/terms/>): an event is a visit, or, where nothing of a field may be public, the public row of a
//! county and week.
//!
//! An event at which nothing was found is an absence, not a gap: it has its occurrence, `absent`. A public row is an
//! event only if it says whether anything was found ([`found_in_row`]); what is in no public row is none. Which figures go
//! with an event is decided in `darwin_measures.rs`.

use super::darwin_event::{EVENT, Event, event_row, found_in_row, id_of, is_an_event};
use super::darwin_measures::measures_of;
use super::facts::{Facts, Level};
use super::package_file::{one_line, unmade};
use super::table::ExportTable;
use super::taxa::{
    counts_individuals, current_name, life_stage, scientific_name, taxon_id, taxon_remarks,
};
use scouting::failure::Failure;

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

const OCCURRENCE: [&str; 14] = [
    "eventID",
    "occurrenceID",
    "basisOfRecord",
    "occurrenceStatus",
    "scientificName",
    "acceptedNameUsage",
    "taxonID",
    "taxonRemarks",
    "lifeStage",
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
        current_name(protocol),
        taxon_id(protocol),
        taxon_remarks(protocol),
        life_stage(protocol),
        count,
        quantity,
        quantity_type,
        by,
        remarks.to_owned(),
    ])
}
