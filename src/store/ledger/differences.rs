//! In which members a record differs from the one that the store has of the same visit and revision.
//!
//! Both are compared as rows of the store: what was accepted as it is kept, what was sent as it would be kept. So a
//! member that only was written in another way, as 8.00 for 8, does not differ.

use std::collections::{BTreeMap, BTreeSet, HashMap};

use arrow::array::RecordBatch;
use arrow::error::ArrowError;
use arrow::util::display::array_value_to_string;
use datafusion::common::JoinType;
use datafusion::error::DataFusionError;
use datafusion::prelude::{Expr, col, lit};

use crate::delta::snapshot::Snapshot;
use crate::delta::tables::Store;
use crate::rows::query_rows::unreadable;
use crate::rows::written::{LoadMark, units_batch, visits_batch};
use scouting::failure::Failure;
use scouting::visit::record::{CountForm, Visit};
use scouting::visit::rows::VisitRow;

/// A conflict names so many members at the most.
const NAMED_MAX: usize = 10;
/// So many characters of a value are shown.
const SHOWN_LENGTH_MAX: usize = 60;

/// Members that are compared, each with the column that keeps it.
const MEMBERS: [(&str, &str); 26] = [
    ("/observed_on", "observed_on"),
    ("/submitted_at", "submitted_at"),
    ("/observer_id", "observer_id"),
    ("/field/field_id", "field_id"),
    ("/field/farm_id", "farm_id"),
    ("/field/county_id", "county_id_stated"),
    ("/field/lon", "lon"),
    ("/field/lat", "lat"),
    ("/field/area_ha", "area_ha"),
    ("/field/crop_type", "crop_type"),
    ("/field/outline", "outline"),
    ("/protocol", "protocol"),
    ("/crop_stage", "crop_stage_stated"),
    ("/treated_on", "treated_on"),
    ("/treatment", "treatment"),
    ("/economics/treatment_cost/amount", "treatment_cost_amount"),
    ("/economics/treatment_cost/per", "treatment_cost_per"),
    (
        "/economics/treatment_cost/currency",
        "treatment_cost_currency",
    ),
    ("/economics/market_value/amount", "market_value_amount"),
    ("/economics/market_value/per", "market_value_per"),
    ("/economics/market_value/currency", "market_value_currency"),
    (
        "/economics/plant_population/count",
        "plant_population_count",
    ),
    ("/economics/plant_population/per", "plant_population_per"),
    ("/remarks", "remarks"),
    ("/retracted", "retracted"),
    ("/count_form", "count_form"),
];

/// Columns of a unit that are compared; the first two belong to the unit, the others to its site.
const OF_UNITS: [&str; 5] = ["counts", "nights", "side", "site_lon", "site_lat"];

/// A visit revision as the store keeps it, every value as text.
#[derive(Debug, Default)]
struct KeptVisit {
    members: Vec<String>,
    sender: String,
    /// The number that its sender gave it; empty if it is its own.
    revision_sent: String,
    /// By the number of the site and of the unit.
    units: BTreeMap<(i64, i64), Vec<String>>,
}

/// What a record differs in from those that the store has of its visit.
#[derive(Debug, Clone)]
pub struct Difference {
    /// The members that differ from the record of the same revision, with both values.
    pub members: String,
    /// The highest revision of the visit.
    pub highest: Option<Highest>,
}

/// The highest revision of a visit.
#[derive(Debug, Clone)]
pub struct Highest {
    /// Its number.
    pub revision: u32,
    /// The number that its sender gave it.
    pub sent: u32,
    /// Who sent it, if it is known.
    pub sender: Option<String>,
    /// Whether it withdraws the visit.
    pub is_withdrawn: bool,
    /// The members in which the record differs from it.
    pub members: String,
}

type KeptVisits = HashMap<(String, i64), KeptVisit>;

/// What differs in each of some rows from what the store has of the same visit and revision, by the line of the row.
///
/// # Errors
/// A [`Failure`] if the store cannot be read.
pub async fn differences(
    store: &Store,
    sent: &[&VisitRow],
) -> Result<HashMap<u64, Difference>, Failure> {
    if sent.is_empty() {
        return Ok(HashMap::new());
    }
    let ids: BTreeSet<&str> = sent.iter().map(|row| row.visit.visit_id.as_str()).collect();
    let ids: Vec<Expr> = ids.into_iter().map(lit).collect();
    let snapshot = Snapshot::open(store, 1).await?;
    let kept = read_kept(&snapshot, ids).await.map_err(unreadable)?;
    let told = sent.iter().filter_map(|row| {
        let stored = kept.get(&(row.visit.visit_id.clone(), i64::from(row.visit.revision)))?;
        let difference = Difference {
            members: named(stored, row),
            highest: highest_of(&kept, row),
        };
        Some((row.line, difference))
    });
    Ok(told.collect())
}

fn highest_of(kept: &KeptVisits, row: &VisitRow) -> Option<Highest> {
    let of_visit = kept.iter().filter(|((id, _), _)| *id == row.visit.visit_id);
    let ((_, revision), stored) = of_visit.max_by_key(|((_, revision), _)| *revision)?;
    let revision = u32::try_from(*revision).ok()?;
    let retracted = MEMBERS
        .iter()
        .position(|(pointer, _)| *pointer == "/retracted")?;
    Some(Highest {
        revision,
        sent: stored.revision_sent.parse().unwrap_or(revision),
        sender: Some(stored.sender.clone()).filter(|sender| !sender.is_empty()),
        is_withdrawn: stored
            .members
            .get(retracted)
            .is_some_and(|value| value == "true"),
        members: named(stored, row),
    })
}

/// What differs in a row from one of the same submission.
pub fn differences_from(before: &VisitRow, row: &VisitRow) -> String {
    named(&as_kept(before), row)
}

fn named(stored: &KeptVisit, row: &VisitRow) -> String {
    let all = compared(stored, &as_kept(row), &row.visit);
    let more = all.len().saturating_sub(NAMED_MAX);
    let mut text = all[..all.len() - more].join(", ");
    if more > 0 {
        text += &format!(" and {more} more");
    }
    text
}

async fn read_kept(snapshot: &Snapshot, ids: Vec<Expr>) -> Result<KeptVisits, DataFusionError> {
    let mut kept = KeptVisits::new();
    for batch in visible(snapshot, "visits", ids.clone()).await? {
        take_visits(&batch, &mut kept)?;
    }
    for batch in visible(snapshot, "units", ids).await? {
        take_units(&batch, &mut kept)?;
    }
    Ok(kept)
}

/// The rows of some visits in a table that a receipt makes visible.
async fn visible(
    snapshot: &Snapshot,
    table: &str,
    ids: Vec<Expr>,
) -> Result<Vec<RecordBatch>, DataFusionError> {
    let receipts = snapshot.session().table("receipts").await?;
    let loads = receipts.select(vec![col("load_id").alias("received_load_id")])?;
    let rows = snapshot.session().table(table).await?;
    let rows = rows.filter(col("visit_id").in_list(ids, false))?.join(
        loads.distinct()?,
        JoinType::LeftSemi,
        &["load_id"],
        &["received_load_id"],
        None,
    )?;
    rows.collect().await
}

/// A row as the store would keep it.
fn as_kept(row: &VisitRow) -> KeptVisit {
    let mark = LoadMark {
        load_id: String::new(),
        submission_sha256: String::new(),
        file_name: String::new(),
    };
    let rows = std::slice::from_ref(row);
    let mut kept = KeptVisits::new();
    let taken = take_visits(&visits_batch(rows, &mark), &mut kept)
        .and_then(|()| take_units(&units_batch(rows, &mark), &mut kept));
    taken.expect("columns of our own tables have a text");
    kept.into_values().next().unwrap_or_default()
}

fn take_visits(batch: &RecordBatch, kept: &mut KeptVisits) -> Result<(), ArrowError> {
    for row in 0..batch.num_rows() {
        let members = MEMBERS.iter().map(|(_, column)| text(batch, column, row));
        let visit = KeptVisit {
            members: members.collect::<Result<_, _>>()?,
            sender: text(batch, "sender", row)?,
            revision_sent: text(batch, "revision_sent", row)?,
            units: BTreeMap::new(),
        };
        kept.insert(identity(batch, row)?, visit);
    }
    Ok(())
}

fn take_units(batch: &RecordBatch, kept: &mut KeptVisits) -> Result<(), ArrowError> {
    for row in 0..batch.num_rows() {
        let Some(visit) = kept.get_mut(&identity(batch, row)?) else {
            continue;
        };
        let key = (number(batch, "site", row)?, number(batch, "unit", row)?);
        let values = OF_UNITS.iter().map(|column| text(batch, column, row));
        visit.units.insert(key, values.collect::<Result<_, _>>()?);
    }
    Ok(())
}

fn identity(batch: &RecordBatch, row: usize) -> Result<(String, i64), ArrowError> {
    Ok((
        text(batch, "visit_id", row)?,
        number(batch, "revision", row)?,
    ))
}

fn number(batch: &RecordBatch, column: &str, row: usize) -> Result<i64, ArrowError> {
    let text = text(batch, column, row)?;
    text.parse()
        .map_err(|_| ArrowError::ParseError(format!("{column}: {text:?} is no whole number")))
}

/// A value as text; a null is empty.
fn text(batch: &RecordBatch, column: &str, row: usize) -> Result<String, ArrowError> {
    let place = batch.schema_ref().index_of(column)?;
    array_value_to_string(batch.column(place), row)
}

/// Each member that differs: its pointer, and both values.
fn compared(stored: &KeptVisit, sent: &KeptVisit, visit: &Visit) -> Vec<String> {
    let mut all = Vec::new();
    for (place, (pointer, _)) in MEMBERS.iter().enumerate() {
        note(
            &mut all,
            pointer,
            &stored.members[place],
            &sent.members[place],
        );
    }
    let none = vec![String::new(); OF_UNITS.len()];
    let keys: BTreeSet<_> = stored.units.keys().chain(sent.units.keys()).collect();
    for key in keys {
        let (before, now) = (stored.units.get(key), sent.units.get(key));
        let (before, now) = (before.unwrap_or(&none), now.unwrap_or(&none));
        let (site, unit) = places(*key, visit);
        for (place, column) in OF_UNITS.iter().enumerate() {
            let pointer = match *column {
                "counts" => unit.clone(),
                "nights" => format!("{unit}/nights"),
                "side" => format!("{site}/side"),
                "site_lon" => format!("{site}/lon"),
                _ => format!("{site}/lat"),
            };
            note(&mut all, &pointer, &before[place], &now[place]);
        }
    }
    all
}

/// The pointers of a site and of a unit of it; a site that the record does not have is named by its number.
fn places((site, unit): (i64, i64), visit: &Visit) -> (String, String) {
    let place = visit
        .sites
        .iter()
        .position(|one| i64::from(one.site) == site);
    let form = visit.count_form().map_or("units", CountForm::member);
    let pointer = match place {
        Some(place) => format!("/sites/{place}"),
        None => format!("/sites (site {site})"),
    };
    let unit = format!("{pointer}/{form}/{}", unit - 1);
    (pointer, unit)
}

/// What differs of a site is in each of its units, and is noted once.
fn note(all: &mut Vec<String>, pointer: &str, before: &str, now: &str) {
    if before == now {
        return;
    }
    let text = format!("{pointer} {} → {}", shown(before), shown(now));
    if !all.contains(&text) {
        all.push(text);
    }
}

fn shown(value: &str) -> String {
    if value.is_empty() {
        return "none".to_owned();
    }
    match value.char_indices().nth(SHOWN_LENGTH_MAX) {
        Some((end, _)) => format!("{}…", &value[..end]),
        None => value.to_owned(),
    }
}
